/* SPDX-License-Identifier: MIT */
#include "intake/draft_time.h"

#include <criterion/criterion.h>
#include <string.h>

static struct arena *arena;
static struct time_formats *formats;

static void start(void)
{
    arena = arena_new();
    formats = time_formats_make(arena);
}

static void finish(void)
{
    arena_free(arena);
}

TestSuite(draft_time, .init = start, .fini = finish);

static struct time_finding find(bool logs, const char *a, const char *b, const char *c)
{
    struct time_sample samples[] = {{a, 0}, {b, 0}, {c, 0}};
    return time_find(formats, samples, c ? 3 : b ? 2 : 1, logs);
}

static void expect_format(const char *text, const char *format)
{
    struct time_finding finding = find(true, text, NULL, NULL);
    cr_assert_not_null(finding.format, "%s", text);
    cr_expect_str_eq(finding.format, format, "%s: %s", text, finding.format);
}

Test(draft_time, finds_the_usual_formats)
{
    expect_format("2026-04-13 09:05", "iso");
    expect_format("2026-04-13T09:05:00Z", "iso");
    expect_format("2026/04/13 09:05:00", "YYYY/MM/DD hh:mm:ss");
    expect_format("13.04.2026 09:05", "DD.MM.YYYY hh:mm");
    expect_format("04/13/2026 09:05:00 PM", "MM/DD/YYYY hh:mm:ss AM");
    expect_format("4/13/26 9:05", "M/D/YY h:mm");
    expect_format("4/13/26 9:05PM", "M/D/YY h:mmAM");
    expect_format("03-Apr-2026 09:05:00.250", "DD-MON-YYYY hh:mm:ss.s");
    expect_format("Apr 3, 2026 9:05 AM", "MON D, YYYY h:mm AM");
    expect_format("20260413", "YYYYMMDD");
    expect_format("13/4/2026", "D/M/YYYY");
    cr_expect_null(find(true, "soon", NULL, NULL).format);
}

/* One digit may come where none of the texts shows that small numbers get a zero in front. */
Test(draft_time, asks_for_two_digits_only_where_zeros_show)
{
    expect_format("13.10.2026 13:05", "D.M.YYYY h:mm");
    expect_format("13.04.2026 09:05", "DD.MM.YYYY hh:mm");
}

Test(draft_time, names_both_orders_where_nothing_tells)
{
    struct time_finding finding = find(true, "04/05/2026 10:00", "04/05/2026 10:10", NULL);
    cr_expect_str_eq(finding.format, "DD/MM/YYYY h:mm");
    cr_expect_str_eq(finding.others[0], "MM/DD/YYYY h:mm");
    cr_expect_null(finding.others[1]);
    finding = find(true, "04/05/2026 10:00 AM", NULL, NULL);
    cr_expect_str_eq(finding.format, "MM/DD/YYYY h:mm AM");
    cr_expect_str_eq(finding.others[0], "DD/MM/YYYY h:mm AM");
}

Test(draft_time, is_settled_by_one_day_above_12)
{
    struct time_finding finding = find(true, "04/05/2026 10:00", "13/05/2026 10:00", "02/06/2026 10:00");
    cr_expect_str_eq(finding.format, "DD/MM/YYYY h:mm");
    cr_expect_null(finding.others[0]);
    cr_expect_str_eq(finding.by, "");
    cr_expect_eq(finding.fits, 3);
}

Test(draft_time, is_settled_by_steps_for_loggers)
{
    struct time_finding finding = find(true, "04/05/2026 23:50", "04/06/2026 00:00", "04/06/2026 00:10");
    cr_expect_str_eq(finding.format, "MM/DD/YYYY hh:mm");
    cr_expect_null(finding.others[0]);
    cr_expect_str_eq(finding.by, "only so do the times step on evenly");
}

/* Visits a month apart look like days in a row; only a step back tells. */
Test(draft_time, is_settled_by_order_alone_for_notebooks)
{
    struct time_finding finding = find(false, "04/03/2026 10:00", "04/04/2026 10:00", "04/05/2026 10:00");
    cr_expect_not_null(finding.others[0]);
    finding = find(false, "09/03/2026 10:00", "02/04/2026 10:00", "05/05/2026 10:00");
    cr_expect_str_eq(finding.format, "DD/MM/YYYY h:mm");
    cr_expect_null(finding.others[0]);
    cr_expect_str_eq(finding.by, "only so do the times ascend");
}

Test(draft_time, sees_offsets_and_dates_of_workbooks)
{
    cr_expect(find(true, "2026-04-01T10:00:00+02:00", NULL, NULL).has_offsets);
    cr_expect_not(find(true, "2026-04-01T10:00:00", NULL, NULL).has_offsets);
    struct time_sample sample = {NULL, 0};
    cr_expect(time_find(formats, &sample, 1, true).is_of_workbook);
}

Test(draft_time, tells_dates_from_other_cells)
{
    cr_expect_eq(time_looks(formats, cell_from("2026-04-01")), LOOKS_LIKE_DATE);
    cr_expect_eq(time_looks(formats, cell_from("1/4/26 9:05")), LOOKS_LIKE_DATE);
    cr_expect_eq(time_looks(formats, cell_from("9:05")), LOOKS_LIKE_TIME);
    cr_expect_eq(time_looks(formats, cell_from("1:50 PM")), LOOKS_LIKE_TIME);
    cr_expect_eq(time_looks(formats, cell_from("15.5313")), LOOKS_OTHER);
    cr_expect_eq(time_looks(formats, cell_from("101,861")), LOOKS_OTHER);
    cr_expect_eq(time_looks(formats, cell_from("18320123")), LOOKS_OTHER);
    cr_expect_eq(time_looks(formats, cell_from("Time")), LOOKS_OTHER);
    cr_expect_eq(time_looks(formats, cell_from("")), LOOKS_OTHER);
    cr_expect_eq(time_looks(formats, (struct cell){.text = "2026-04-01", .length = 10, .kind = CELL_CIVIL}),
                 LOOKS_LIKE_DATE);
}
