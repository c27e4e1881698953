/* SPDX-License-Identifier: MIT */
#include "intake/table.h"

#include <criterion/criterion.h>
#include <string.h>

TestSuite(table);

Test(table, matches_patterns_over_slashes_and_without_case)
{
    cr_expect(cell_matches(cell_from("DO (mg/L)"), "do*"));
    cr_expect(cell_matches(cell_from("Water Temp"), "*temp"));
    cr_expect(cell_matches(cell_from("Water Temp"), "W?ter*T*p"));
    cr_expect(cell_matches(cell_from(""), "*"));
    cr_expect_not(cell_matches(cell_from("Water Temp 2"), "*temp"));
    cr_expect_not(cell_matches(cell_from("Water"), "Water Temp*"));
    cr_expect_not(cell_matches(cell_from(""), "?"));
}

Test(table, compares_cells_without_case)
{
    cr_expect(cell_is(cell_from("Heron CR"), "heron cr"));
    cr_expect_not(cell_is(cell_from("Heron"), "heron cr"));
    cr_expect_not(cell_is(cell_from("heron cr 2"), "heron cr"));
    cr_expect_not(cell_is(cell_from("N77"), "N7"));
    cr_expect(cell_begins(cell_from("End of file, 12 rows"), "END OF FILE"));
    cr_expect_not(cell_begins(cell_from("End"), "END OF FILE"));
}

Test(table, quotes_cells_for_messages)
{
    cr_expect_str_eq(cell_quote(cell_from("a\x1B[31m")).text, "a\\x1B[31m");
    cr_expect_str_eq(cell_quote(cell_from("0123456789012345678901234567890123456789x")).text,
                     "0123456789012345678901234567890123456789...");
    cr_expect_str_eq(cell_quote(cell_from("")).text, "");
}

Test(table, gives_an_empty_cell_behind_the_last)
{
    struct cell cells[] = {cell_from("a")};
    struct row row = {.count = 1, .cells = cells};
    cr_expect_eq(row_cell(&row, 0).length, 1);
    cr_expect_eq(row_cell(&row, 1).length, 0);
    cr_expect_not(row_is_blank(&row));
    cells[0].length = 0;
    cr_expect(row_is_blank(&row));
}
