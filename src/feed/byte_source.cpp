#include "feed/byte_source.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zlib.h>

#include <array>
#include <cerrno>
#include <cstring>
#include <utility>

namespace vialwright::feed {
namespace {

tl::unexpected<Error> unreadable(const std::string& path, int reason) {
  if (reason == ENOENT || reason == ENOTDIR) {
    return tl::unexpected(Error{Error::Kind::missing, "there is no such file", path,
                                "check the name and the folder"});
  }
  return tl::unexpected(Error{Error::Kind::unavailable,
                              std::string("the file cannot be read: ") + std::strerror(reason),
                              path, "check that it is a file and that you may read it"});
}

class Descriptor {
 public:
  explicit Descriptor(int number) : number_(number) {}
  Descriptor(Descriptor&& other) noexcept : number_(std::exchange(other.number_, -1)) {}
  Descriptor& operator=(Descriptor&&) = delete;
  ~Descriptor() {
    if (number_ > STDIN_FILENO) ::close(number_);
  }
  [[nodiscard]] int number() const { return number_; }

 private:
  int number_;
};

class Inflater {
 public:
  Inflater() {
    stream_ = {};
    constexpr int gzip_only = 16;  // added to the window bits: header and checksum are gzip's
    ready_ = inflateInit2(&stream_, MAX_WBITS + gzip_only) == Z_OK;
  }
  Inflater(const Inflater&) = delete;
  Inflater& operator=(const Inflater&) = delete;
  ~Inflater() { inflateEnd(&stream_); }

  [[nodiscard]] bool ready() const { return ready_; }
  z_stream& stream() { return stream_; }

 private:
  z_stream stream_;
  bool ready_ = false;
};

}  // namespace

struct ByteSource::Stream {
  explicit Stream(std::string name, Descriptor from)
      : path(std::move(name)), file(std::move(from)) {}

  std::string path;
  Descriptor file;
  std::array<char, 1 << 16> packed{};
  std::size_t begin = 0, end = 0;  ///< what of `packed` is still to be used
  std::uint64_t done = 0, all = 0;
  std::unique_ptr<Inflater> inflater;  ///< none: the bytes are used as they are
  bool between_members = false;        ///< a gzip member has ended and no other has begun

  /// Gets more bytes when there are none left. @returns false at the end of the file.
  Result<bool> refill() {
    if (begin < end) return true;
    ssize_t got = 0;
    do {
      got = ::read(file.number(), packed.data(), packed.size());
    } while (got < 0 && errno == EINTR);
    if (got < 0) return unreadable(path, errno);
    begin = 0;
    end = static_cast<std::size_t>(got);
    done += end;
    return end > 0;
  }

  Result<std::size_t> copy(std::span<char> into) {
    const auto more = refill();
    if (!more) return tl::unexpected(more.error());
    const std::size_t size = std::min(into.size(), end - begin);
    std::memcpy(into.data(), packed.data() + begin, size);
    begin += size;
    return size;
  }

  /// One step of unpacking. @returns bytes made; nothing at the end.
  Result<std::size_t> unpack_some(std::span<char> into, bool& at_end) {
    const auto more = refill();
    if (!more) return tl::unexpected(more.error());
    at_end = !*more;
    if (at_end && between_members) return std::size_t{0};
    if (at_end) {
      return bad_input("the gzip data ends in the middle", path,
                       "copy the file again in full and import it again; what is already there is "
                       "not taken twice");
    }
    if (between_members) inflateReset(&inflater->stream());
    between_members = false;
    z_stream& stream = inflater->stream();
    stream.next_in = reinterpret_cast<Bytef*>(packed.data() + begin);
    stream.avail_in = static_cast<uInt>(end - begin);
    stream.next_out = reinterpret_cast<Bytef*>(into.data());
    stream.avail_out = static_cast<uInt>(into.size());
    const int code = inflate(&stream, Z_NO_FLUSH);
    begin = end - stream.avail_in;
    if (code == Z_STREAM_END) between_members = true;
    if (code != Z_OK && code != Z_STREAM_END && code != Z_BUF_ERROR) {
      return bad_input(std::string("the gzip data is damaged: ") +
                           (stream.msg != nullptr ? stream.msg : "it cannot be unpacked"),
                       path, "copy the file again from where it was made");
    }
    return into.size() - stream.avail_out;
  }

  Result<std::size_t> read(std::span<char> into) {
    if (!inflater) return copy(into);
    for (bool at_end = false;;) {
      auto made = unpack_some(into, at_end);
      if (!made || *made > 0 || at_end) return made;
    }
  }

  Result<void> detect_gzip() {
    const auto more = refill();
    if (!more) return tl::unexpected(more.error());
    const bool gzip = end >= 2 && packed[0] == '\x1f' && packed[1] == '\x8b';
    if (!gzip) return {};
    inflater = std::make_unique<Inflater>();
    if (inflater->ready()) return {};
    return tl::unexpected(Error{Error::Kind::unavailable, "there is no memory to unpack the file",
                                path, "close other programs"});
  }

  /// Unpacks the whole file once for its checksum. A file that is merely cut short is good as far
  /// as it goes, and is told when its end is met.
  Result<void> check_whole() {
    std::array<char, 1 << 16> unused{};
    for (bool at_end = false; !at_end;) {
      const auto made = unpack_some(unused, at_end);
      if (!made && !at_end) return tl::unexpected(made.error());
    }
    return {};
  }
};

ByteSource::ByteSource(std::unique_ptr<Stream> stream) : stream_(std::move(stream)) {}
ByteSource::ByteSource(ByteSource&&) noexcept = default;
ByteSource& ByteSource::operator=(ByteSource&&) noexcept = default;
ByteSource::~ByteSource() = default;

Result<ByteSource> ByteSource::open(const std::string& path) {
  if (path == "-") {
    auto stream = std::make_unique<Stream>("standard input", Descriptor(STDIN_FILENO));
    if (auto done = stream->detect_gzip(); !done) return tl::unexpected(done.error());
    return ByteSource(std::move(stream));
  }
  const auto open_once = [&]() -> Result<std::unique_ptr<Stream>> {
    Descriptor file(::open(path.c_str(), O_RDONLY | O_CLOEXEC));
    if (file.number() < 0) return unreadable(path, errno);
    struct stat about {};
    if (::fstat(file.number(), &about) != 0) return unreadable(path, errno);
    if (S_ISDIR(about.st_mode)) return unreadable(path, EISDIR);
    auto stream = std::make_unique<Stream>(path, std::move(file));
    if (S_ISREG(about.st_mode)) stream->all = static_cast<std::uint64_t>(about.st_size);
    if (auto done = stream->detect_gzip(); !done) return tl::unexpected(done.error());
    return stream;
  };
  auto stream = open_once();
  if (!stream) return tl::unexpected(stream.error());
  if ((*stream)->inflater && (*stream)->all > 0) {
    if (auto done = (*stream)->check_whole(); !done) return tl::unexpected(done.error());
    stream = open_once();
    if (!stream) return tl::unexpected(stream.error());
  }
  return ByteSource(std::move(*stream));
}

Result<std::size_t> ByteSource::read(std::span<char> into) { return stream_->read(into); }
std::uint64_t ByteSource::bytes_done() const { return stream_->done; }
std::uint64_t ByteSource::bytes_all() const { return stream_->all; }

}  // namespace vialwright::feed
