/* SPDX-License-Identifier: MIT */
#include "settings.h"

#include <criterion/criterion.h>
#include <string.h>

static struct arena *arena;
static struct config *config;
static struct batch batch;
static struct error error;

static void start(void)
{
    arena = arena_new();
    config = settings_make(arena);
    error = (struct error){0};
}

static void finish(void)
{
    arena_free(arena);
}

TestSuite(layout, .init = start, .fini = finish);

static bool take(const char *path, const char *text)
{
    error = (struct error){0};
    return settings_read(arena, config, path, text, &batch, &error);
}

static void expect_error(const char *text, const char *expected)
{
    cr_assert_not(take("heron.csv", text));
    cr_expect_eq(error.kind, ERROR_INPUT);
    cr_expect_str_eq(error.text, expected);
}

/* Only these columns, under "Time". */
static void use_columns(struct column *columns, size_t count)
{
    static struct layout layout;
    layout = (struct layout){.id = "own",
                             .decimal = '.',
                             .comment = "",
                             .time_columns = {"Time"},
                             .zone_name = "station",
                             .time_format = "YYYY-MM-DD hh:mm",
                             .columns = columns,
                             .column_count = count};
    config->layouts = &layout;
    config->layout_count = 1;
}

#define USE(...)                                                                                                       \
    struct column columns[] = {__VA_ARGS__};                                                                           \
    use_columns(columns, COUNT_OF(columns))

Test(layout, finds_the_header_below_a_preamble)
{
    cr_assert(take("heron.csv", "Downloaded by crew 4\n\nTime,of,day\nTime,Temp (C),DO (mg/L)\n2026-03-01 00:00,5,9\n"),
              "%s", error.text);
    cr_expect_str_eq(batch.layout->id, "sonde");
    cr_expect_eq(batch.readings.line[0], 5);
}

Test(layout, says_which_comes_nearest_and_what_is_missing)
{
    expect_error(
        "a,b\n1,2\nTime,Temp (C),Oxygen\n2026-03-01 00:00,5,9\n",
        "no layout fits: layout 'sonde' comes nearest at line 3, but no header cell matches 'DO (mg/L)'; add a layout "
        "for this file ('rillward layout FILE' drafts one)");
    expect_error(
        "a,b\n1,2\n",
        "no layout fits: none of the 7 tried finds a header that it knows in the first 200 lines; add a layout for "
        "this file ('rillward layout FILE' drafts one)");
    config->layout_count = 0;
    expect_error("a,b\n1,2\n",
                 "no layout fits: the settings have none; add a layout for this file ('rillward layout FILE' "
                 "drafts one)");
}

Test(layout, looks_only_at_the_first_200_rows)
{
    struct text text;
    text_init(&text, 1 << 16);
    for (int i = 0; i < 200; i++)
        text_puts(&text, "x\n");
    text_puts(&text, "Time,Temp (C),DO (mg/L)\n2026-03-01 00:00,5,9\n");
    cr_expect_not(take("heron.csv", text.bytes));
    cr_expect(take("heron.csv", text.bytes + 2), "%s", error.text);
    text_done(&text);
}

Test(layout, heeds_the_patterns_for_paths)
{
    const char *words[] = {"north/**"};
    struct layout *layout = settings_layout(config, "sonde");
    layout->files = (struct word_list){words, 1};
    const char *text = "Time,Temp (C),DO (mg/L)\n2026-03-01 00:00,5,9\n";
    cr_expect_not(take("south/heron.csv", text));
    cr_expect(take("north/2026/heron.csv", text), "%s", error.text);
    config->layouts = layout;
    config->layout_count = 1;
    cr_expect_not(take("south/heron.csv", text));
    cr_expect_str_eq(error.text,
                     "no layout fits: no 'files' pattern of any layout matches this path; add a layout for this "
                     "file ('rillward layout FILE' drafts one)");
}

Test(layout, names_two_that_fit)
{
    struct layout both[] = {*settings_layout(config, "sonde"), *settings_layout(config, "sonde")};
    both[1].id = "other";
    config->layouts = both;
    config->layout_count = 2;
    expect_error("Time,Temp (C),DO (mg/L)\n2026-03-01 00:00,5,9\n",
                 "layouts 'sonde' and 'other' both fit: narrow 'files' of one of them");
}

Test(layout, gives_the_better_fit_its_cell_first)
{
    USE({.header = "Temp*", .role = COLUMN_QUANTITY, .quantity = QUANTITY_TEMPERATURE, .unit = "degC"},
        {.header = "Temp air", .role = COLUMN_QUANTITY, .quantity = QUANTITY_AIR_TEMPERATURE, .unit = "degC"});
    cr_assert(take("heron.csv", "Time,Temp air,Temp water\n2026-03-01 00:00,5,9\n"), "%s", error.text);
    cr_expect_eq(batch.readings.value[QUANTITY_TEMPERATURE][0], 9);
    cr_expect_eq(batch.readings.value[QUANTITY_AIR_TEMPERATURE][0], 5);
}

Test(layout, refuses_a_pattern_that_fits_two_cells)
{
    USE({.header = "Temp*", .role = COLUMN_QUANTITY, .quantity = QUANTITY_TEMPERATURE, .unit = "degC"});
    expect_error(
        "Time,Temp air,Temp water\n2026-03-01 00:00,5,9\n",
        "no layout fits: layout 'own' comes nearest at line 1, but two header cells match 'Temp*': 'Temp air' and "
        "'Temp water'; write the pattern narrower; add a layout for this file ('rillward layout FILE' drafts one)");
}

Test(layout, lets_ignored_columns_match_any_number_of_cells)
{
    USE({.header = "Temp", .role = COLUMN_QUANTITY, .quantity = QUANTITY_TEMPERATURE, .unit = "degC"},
        {.header = "Aux*", .role = COLUMN_IGNORED});
    cr_expect(take("heron.csv", "Time,Aux 1,Temp,Aux 2\n2026-03-01 00:00,a,9,b\n"), "%s", error.text);
    cr_expect_not(take("heron.csv", "Time,Temp\n2026-03-01 00:00,9\n"));
}

Test(layout, lets_ignored_columns_take_only_what_is_left)
{
    USE({.header = "*", .role = COLUMN_IGNORED},
        {.header = "Temp", .role = COLUMN_QUANTITY, .quantity = QUANTITY_TEMPERATURE});
    cr_expect(take("heron.csv", "Time,Aux,Temp (C)\n2026-03-01 00:00,a,9\n"), "%s", error.text);
}

Test(layout, reports_a_line_that_is_too_long_where_nothing_fits)
{
    struct text text;
    text_init(&text, 1 << 20);
    for (int i = 0; i < 70000; i++)
        text_putc(&text, 'x');
    text_putc(&text, '\n');
    expect_error(text.bytes, "no layout fits: line 1 is longer than 64 KiB: no table that can be read");
    text_done(&text);
}

Test(layout, takes_the_unit_from_settings_or_header)
{
    USE({.header = "Temp", .role = COLUMN_QUANTITY, .quantity = QUANTITY_TEMPERATURE});
    cr_assert(take("heron.csv", "Time,Temp (F)\n2026-03-01 00:00,50\n"), "%s", error.text);
    cr_expect_float_eq(batch.readings.value[QUANTITY_TEMPERATURE][0], 10, 1e-12);
    columns[0].unit = "degF";
    cr_assert(take("heron.csv", "Time,Temp (F)\n2026-03-01 00:00,50\n"), "%s", error.text);
    cr_assert(take("heron.csv", "Time,Temp (deep)\n2026-03-01 00:00,50\n"), "%s", error.text);
    cr_expect_float_eq(batch.readings.value[QUANTITY_TEMPERATURE][0], 10, 1e-12);
}

Test(layout, refuses_units_that_are_missing_or_disagree_or_measure_something_else)
{
    USE({.header = "Temp", .role = COLUMN_QUANTITY, .quantity = QUANTITY_TEMPERATURE});
    expect_error("Time,Temp\n2026-03-01 00:00,50\n",
                 "line 1: column 'Temp': no unit is given: add 'unit' to the column in layout 'own'");
    expect_error(
        "Time,Temp (psi)\n2026-03-01 00:00,50\n",
        "line 1: column 'Temp (psi)': unit 'psi' is a pressure, but 'temperature' is a temperature: correct 'is' or "
        "'unit' in layout 'own'");
    columns[0].unit = "degC";
    expect_error(
        "Time,Temp (F)\n2026-03-01 00:00,50\n",
        "line 1: column 'Temp (F)': the header says 'F', layout 'own' says 'degC': correct or leave out 'unit' in the "
        "layout");
    columns[0].unit = "degX";
    expect_error("Time,Temp (F)\n2026-03-01 00:00,50\n",
                 "line 1: column 'Temp (F)': unit 'degX' of layout 'own' is not known");
}

Test(layout, takes_salinity_without_a_unit)
{
    USE({.header = "Sal", .role = COLUMN_QUANTITY, .quantity = QUANTITY_SALINITY});
    cr_assert(take("heron.csv", "Time,Sal\n2026-03-01 00:00,31.5\n"), "%s", error.text);
    cr_expect_eq(batch.readings.value[QUANTITY_SALINITY][0], 31.5);
}

Test(layout, refuses_one_quantity_in_two_columns)
{
    USE({.header = "A", .role = COLUMN_QUANTITY, .quantity = QUANTITY_TEMPERATURE, .unit = "degC"},
        {.header = "B", .role = COLUMN_QUANTITY, .quantity = QUANTITY_TEMPERATURE, .unit = "degC"});
    expect_error("Time,A,B\n2026-03-01 00:00,1,2\n",
                 "line 1: column 'B' is a second 'temperature': set 'is: ignored' for one of them in layout 'own'");
}

Test(layout, reports_an_unsound_time_format_as_a_fault_of_the_settings)
{
    USE({.header = "A", .role = COLUMN_QUANTITY, .quantity = QUANTITY_TEMPERATURE, .unit = "degC"});
    config->layouts[0].time_format = "DD.MM.";
    cr_assert_not(take("heron.csv", "Time,A\n2026-03-01 00:00,1\n"));
    cr_expect_eq(error.kind, ERROR_CONFIG);
    cr_expect_str_eq(error.text, "layout 'own': time format 'DD.MM.' has no year (YYYY or YY)");
}
