# One folder under src is one library. `vialwright_module(contents LINKS mixing plant)` makes
# vialwright_contents from src/contents/*.cpp (main.cpp apart); LINKS names modules, LIBRARIES
function(vialwright_module name)
  cmake_parse_arguments(ARG "" "" "LINKS;LIBRARIES;PRIVATE_LIBRARIES" ${ARGN})
  file(GLOB sources CONFIGURE_DEPENDS ${CMAKE_CURRENT_SOURCE_DIR}/*.cpp)
  list(FILTER sources EXCLUDE REGEX "/main\\.cpp$")
  set(modules ${ARG_LINKS})
  list(TRANSFORM modules PREPEND vialwright_)
  if(sources)
    add_library(vialwright_${name} STATIC ${sources})
    set(scope PUBLIC)
    target_link_libraries(vialwright_${name} PRIVATE ${ARG_PRIVATE_LIBRARIES})
  else()
    add_library(vialwright_${name} INTERFACE)
    set(scope INTERFACE)
  endif()
  target_include_directories(vialwright_${name} ${scope} ${PROJECT_SOURCE_DIR}/src)
  target_link_libraries(vialwright_${name} ${scope} ${modules} ${ARG_LIBRARIES})
endfunction()

# Tests are compiled quickly rather than well: half of the time of a build was theirs. ccache keeps
# what was compiled with a precompiled header only if the preprocessor names it.
set(test_options $<$<CONFIG:Release>:-O1> $<$<CXX_COMPILER_ID:GNU>:-fpch-preprocess>)

# `vialwright_tests(contents LINKS contents)` makes contents_test from *_test.cpp beside it.
function(vialwright_tests name)
  cmake_parse_arguments(ARG "" "" "LINKS;LIBRARIES" ${ARGN})
  file(GLOB sources CONFIGURE_DEPENDS ${CMAKE_CURRENT_SOURCE_DIR}/*.cpp)
  if(NOT sources)
    return()
  endif()
  set(modules ${ARG_LINKS})
  list(TRANSFORM modules PREPEND vialwright_)
  add_executable(${name}_test ${sources})
  target_precompile_headers(${name}_test REUSE_FROM test_headers)
  target_compile_options(${name}_test PRIVATE ${test_options})
  target_include_directories(${name}_test PRIVATE ${PROJECT_SOURCE_DIR}/tests ${PROJECT_SOURCE_DIR}/src)
  target_compile_definitions(${name}_test PRIVATE VIALWRIGHT_SOURCE_DIR="${PROJECT_SOURCE_DIR}")
  target_link_libraries(${name}_test PRIVATE ${modules} ${ARG_LIBRARIES} GTest::gtest GTest::gmock
                        GTest::gtest_main rapidcheck rapidcheck_gtest)
  add_test(NAME ${name} COMMAND ${name}_test)
endfunction()
