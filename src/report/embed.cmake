# cmake -DOUT=file.cpp "-DFILES=a;b" -P embed.cmake: the bytes of each file as a C++ array, and one
# function that finds them by file name. The order of FILES is kept, so the output is reproducible.
set(arrays "")
set(cases "")
set(number 0)
foreach(path IN LISTS FILES)
  get_filename_component(name ${path} NAME)
  file(READ ${path} bytes HEX)
  string(REGEX REPLACE "([0-9a-f][0-9a-f])" "0x\\1," bytes "${bytes}")
  string(REGEX REPLACE "((0x..,)(0x..,)(0x..,)(0x..,)(0x..,)(0x..,)(0x..,)(0x..,))" "\\1\n" bytes "${bytes}")
  string(APPEND arrays "constexpr unsigned char bytes_${number}[] = {\n${bytes}\n};\n")
  string(APPEND cases "  if (name == \"${name}\") return view(bytes_${number}, sizeof bytes_${number});\n")
  math(EXPR number "${number} + 1")
endforeach()
file(WRITE ${OUT} "#include \"report/assets.hpp\"

namespace vialwright::report {
namespace {

${arrays}
std::string_view view(const unsigned char* bytes, std::size_t size) {
  return {reinterpret_cast<const char*>(bytes), size};
}

}  // namespace

std::string_view asset(std::string_view name) {
${cases}  return {};
}

}  // namespace vialwright::report
")
