/// Private to report: small pieces of the page. Everything that comes from outside goes through
/// escaped(); the pieces return markup that is well-formed XML too.
#pragma once

#include <string>
#include <string_view>

#include "report/columns.hpp"

namespace vialwright::report {

/// Text for element content and double-quoted attributes, cleaned of control characters.
[[nodiscard]] std::string escaped(std::string_view text);

/// Escaped; in "19.356 ± 0.013 g" the digits outside the doubt are bold, those inside are thinner.
[[nodiscard]] std::string value_html(std::string_view text);

/// A table that folds into name and value pairs on a narrow screen; the first cell names the row.
[[nodiscard]] std::string table_html(const Table& table);

/// The same for a table that stands in every record: the names of its columns are said once, by
/// folding_style(), and not in each cell.
[[nodiscard]] std::string table_html(const Table& table, std::string_view kind);
[[nodiscard]] std::string folding_style(const Table& table, std::string_view kind);

/// A list of sentences.
[[nodiscard]] std::string list_html(const std::vector<std::string>& sentences);

/// A named part of the page: its name and note in the margin, its matter beside it.
[[nodiscard]] std::string part_html(std::string_view name, std::string_view note,
                                    const std::string& matter);

/// A disposition or signal: its shape and its word. `id` names a symbol of marks.svg.
[[nodiscard]] std::string mark_html(std::string_view id, std::string_view word);

[[nodiscard]] std::string base64(std::string_view bytes);  ///< RFC 4648, section 4

}  // namespace vialwright::report
