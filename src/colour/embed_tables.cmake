# cmake -DOUT=file.cpp -DOBSERVERS=file.csv -DILLUMINANTS=file.csv -P embed_tables.cmake: the rows of
# the two tables as C++ arrays. '#' begins a comment; the first other line is the heading.
function(rows_of path result)
  file(STRINGS ${path} lines)
  set(rows "")
  set(headed FALSE)
  foreach(line IN LISTS lines)
    if(line MATCHES "^#")
      continue()
    endif()
    if(headed)
      string(APPEND rows "    {${line}},\n")
    endif()
    set(headed TRUE)
  endforeach()
  set(${result} "${rows}" PARENT_SCOPE)
endfunction()

rows_of(${OBSERVERS} observers)
rows_of(${ILLUMINANTS} illuminants)
file(WRITE ${OUT} "#include \"colour/tables.hpp\"

namespace vialwright::colour {

const double observer_table[table_rows][7] = {
${observers}};

const double illuminant_table[table_rows][4] = {
${illuminants}};

}  // namespace vialwright::colour
")
