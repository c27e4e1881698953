/* SPDX-License-Identifier: MIT */
/* Parts and relationships; damaged and hostile archives are in test_workbooks.py. */
#include "intake/xlsx_package.h"

#include "support/workbook.h"

#include <criterion/criterion.h>
#include <string.h>

static struct arena *arena;
static struct package *package;
static struct error error;

static void start(void)
{
    arena = arena_new();
    package = NULL;
    error = (struct error){0};
}

static void finish(void)
{
    package_close(package);
    arena_free(arena);
}

TestSuite(xlsx_package, .init = start, .fini = finish);

#define RELATIONS(list)                                                                                                \
    "<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\">" list "</Relationships>"

static void open_parts(const char *relations, const char *part)
{
    const struct workbook_part parts[] = {{"xl/_rels/a.xml.rels", relations, 0}, {"xl/a.xml", part, 0}};
    size_t length;
    const char *bytes = workbook_zip(arena, parts, COUNT_OF(parts), &length);
    package = package_open(bytes, length, &error);
    cr_assert_not_null(package, "%s", error.text);
}

static void expect_target(const char *target, const char *expected)
{
    struct relations relations;
    open_parts(
        arena_printf(arena, RELATIONS("<Relationship Id=\"r\" Type=\"http://x/y/worksheet\" Target=\"%s\"/>"), target),
        "<a/>");
    cr_assert(package_relations(package, "xl/a.xml", arena, &relations, &error), "%s", error.text);
    cr_assert_eq(relations.count, 1);
    cr_expect_str_eq(relations.list[0].target, expected, "%s: %s", target, relations.list[0].target);
    cr_expect_str_eq(relations.list[0].type, "worksheet");
    package_close(package);
    package = NULL;
}

Test(xlsx_package, resolves_targets_against_their_source)
{
    expect_target("b.xml", "xl/b.xml");
    expect_target("./sheets/b.xml", "xl/sheets/b.xml");
    expect_target("../b.xml", "b.xml");
    expect_target("/other/b.xml", "other/b.xml");
    expect_target("s/../t/./b.xml", "xl/t/b.xml");
    expect_target("../../../etc/passwd", "etc/passwd");
    expect_target("", "xl");
}

Test(xlsx_package, leaves_out_what_lies_outside)
{
    struct relations relations;
    open_parts(
        RELATIONS("<Relationship Id=\"r\" Type=\"x/link\" Target=\"https://example.org/\" TargetMode=\"External\"/>"
                  "<Relationship Id=\"s\" Type=\"x/link\"/>"),
        "<a/>");
    cr_assert(package_relations(package, "xl/a.xml", arena, &relations, &error));
    cr_expect_eq(relations.count, 0);
    cr_assert(package_relations(package, "xl/none.xml", arena, &relations, &error), "a part without a list");
    cr_expect_eq(relations.count, 0);
}

static void pause_at_b(struct part *part, const char *name)
{
    if (strcmp(name, "b") == 0)
        part_pause(part);
}

#define MAIN "xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\""

Test(xlsx_package, pauses_behind_an_element_and_goes_on)
{
    static const struct part_handler handler = {.end = pause_at_b};
    open_parts(RELATIONS(""), "<a " MAIN "><b/><c/><b>x</b></a>");
    struct part *part = part_open(package, "XL/A.xml", 1000, &handler, NULL, &error);
    cr_assert_not_null(part, "%s", error.text);
    cr_expect_eq(part_read(part, &error), PART_PAUSED);
    cr_expect_eq(part_read(part, &error), PART_PAUSED);
    cr_expect_eq(part_read(part, &error), PART_END);
    cr_expect_eq(part_read(part, &error), PART_END);
    part_close(part);
}

Test(xlsx_package, stops_at_the_limit_of_a_part)
{
    static const struct part_handler handler = {0};
    open_parts(RELATIONS(""), "<a " MAIN ">0123456789</a>");
    cr_expect_not(part_read_all(package, "xl/a.xml", 20, &handler, NULL, &error));
    cr_expect_eq(error.kind, ERROR_INPUT);
    cr_expect(part_read_all(package, "xl/a.xml", 1000, &handler, NULL, &error));
}
