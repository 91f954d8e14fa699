/// Reading a page back as XML, for tests: what expat says is wrong, and what a person would read.
#pragma once

#include <expat.h>

#include <map>
#include <string>
#include <vector>

namespace vialwright::support {

struct Element {
  std::string name;
  std::map<std::string, std::string> attributes;
};

struct Page {
  std::string problem;            ///< empty: well-formed
  std::vector<Element> elements;  ///< in order of their start
  std::string text;               ///< character data outside <style> and <title>

  [[nodiscard]] std::size_t count(const std::string& name) const {
    std::size_t found = 0;
    for (const Element& each : elements) found += each.name == name ? 1 : 0;
    return found;
  }
};

/// Callbacks of expat with the page being filled.
struct PageReader {
  Page page;
  int silent = 0;  ///< depth inside elements whose text nobody reads

  static bool is_silent(const std::string& name) { return name == "style" || name == "title"; }

  static void start(void* self, const XML_Char* name, const XML_Char** attributes) {
    auto& reader = *static_cast<PageReader*>(self);
    Element element{name, {}};
    for (; *attributes != nullptr; attributes += 2)
      element.attributes[attributes[0]] = attributes[1];
    reader.silent += is_silent(element.name) ? 1 : 0;
    reader.page.text += ' ';
    reader.page.elements.push_back(std::move(element));
  }
  static void end(void* self, const XML_Char* name) {
    auto& reader = *static_cast<PageReader*>(self);
    reader.silent -= is_silent(name) ? 1 : 0;
  }
  static void text(void* self, const XML_Char* letters, int count) {
    auto& reader = *static_cast<PageReader*>(self);
    if (reader.silent == 0) reader.page.text.append(letters, static_cast<std::size_t>(count));
  }
};

inline Page read_page(const std::string& markup) {
  PageReader reader;
  XML_Parser parser = XML_ParserCreate("UTF-8");
  XML_SetUserData(parser, &reader);
  XML_SetElementHandler(parser, PageReader::start, PageReader::end);
  XML_SetCharacterDataHandler(parser, PageReader::text);
  if (XML_Parse(parser, markup.data(), static_cast<int>(markup.size()), 1) != XML_STATUS_OK) {
    reader.page.problem = std::string(XML_ErrorString(XML_GetErrorCode(parser))) + " in line " +
                          std::to_string(XML_GetCurrentLineNumber(parser));
  }
  XML_ParserFree(parser);
  return reader.page;
}

}  // namespace vialwright::support
