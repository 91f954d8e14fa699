#include "logbook/chain.hpp"

#include <openssl/evp.h>

#include <charconv>

#include <fmt/format.h>

namespace vialwright::logbook {
namespace {

void append_whole(std::string& bytes, std::uint64_t value) {
  for (int shift = 56; shift >= 0; shift -= 8) {
    bytes += static_cast<char>(static_cast<unsigned char>(value >> shift));
  }
}

void append_sized(std::string& bytes, std::string_view part) {
  append_whole(bytes, part.size());
  bytes += part;
}

}  // namespace

/// One digest used again and again: fetching the algorithm costs more than hashing a row.
struct Chain::Digest {
  struct Free {
    void operator()(EVP_MD* method) const { EVP_MD_free(method); }
    void operator()(EVP_MD_CTX* context) const { EVP_MD_CTX_free(context); }
  };
  std::unique_ptr<EVP_MD, Free> method{EVP_MD_fetch(nullptr, "SHA256", nullptr)};
  std::unique_ptr<EVP_MD_CTX, Free> context{EVP_MD_CTX_new()};

  Hash of(std::string_view bytes) {
    Hash hash{};
    unsigned size = 0;
    const bool done = EVP_DigestInit_ex2(context.get(), method.get(), nullptr) == 1 &&
                      EVP_DigestUpdate(context.get(), bytes.data(), bytes.size()) == 1 &&
                      EVP_DigestFinal_ex(context.get(), hash.data(), &size) == 1;
    require(done && size == hash.size(), "SHA-256 is there and gives 32 bytes");
    return hash;
  }
};

Chain::Chain() : digest_(std::make_unique<Digest>()) {}
Chain::~Chain() = default;
Chain::Chain(Chain&&) noexcept = default;
Chain& Chain::operator=(Chain&&) noexcept = default;

Hash Chain::after(const Hash& before, const ChainedRow& row) {
  bytes_.assign(before.begin(), before.end());
  append_whole(bytes_, row.position);
  append_whole(bytes_, static_cast<std::uint64_t>(row.received_us));
  bytes_ += row.conflict ? '\1' : '\0';
  append_whole(bytes_, row.sequence);
  append_sized(bytes_, row.source);
  append_sized(bytes_, row.id);
  append_sized(bytes_, row.raw);
  if (row.canonical == row.raw) {
    append_whole(bytes_, ~std::uint64_t{0});  // no text is that long: "the same as the raw bytes"
  } else {
    append_sized(bytes_, row.canonical);
  }
  return digest_->of(bytes_);
}

Hash sha256(std::string_view bytes) { return Chain::Digest().of(bytes); }

std::string hex(const Hash& hash) {
  std::string text;
  for (const unsigned char byte : hash) text += fmt::format("{:02x}", byte);
  return text;
}

Result<Hash> parse_hash(std::string_view hex, std::string_view where) {
  Hash hash{};
  bool good = hex.size() == 2 * hash.size();
  for (std::size_t i = 0; good && i < hash.size(); ++i) {
    const char* digits = hex.data() + 2 * i;
    const auto [end, problem] = std::from_chars(digits, digits + 2, hash[i], 16);
    good = problem == std::errc() && end == digits + 2;
  }
  if (good) return hash;
  return bad_input(fmt::format("'{}' is not a hash", hex.substr(0, 80)), std::string(where),
                   "copy the 64 hexadecimal digits from a report");
}

}  // namespace vialwright::logbook
