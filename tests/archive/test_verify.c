/* SPDX-License-Identifier: MIT */
#include "archive/verify.h"

#include "archive/archive.h"
#include "archive/manifest.h"
#include "fixture.h"

#include <criterion/criterion.h>
#include <string.h>

static struct arena *arena;
static char *root;
static struct error error;
static struct text told;
static struct verify_report report;

static void note_finding(void *context, const struct verify_finding *finding)
{
    text_printf(context, "%s %s\n", verify_kind_word(finding->kind), finding->path);
}

/* Two stations and a barometer with their manifests, and the top one. */
static void start(void)
{
    static const char *const places[] = {"stations/heron-creek", "stations/quiet-pool",
                                         "barometers/mill-roof"};
    arena = arena_new();
    root = fixture_make_folder();
    text_init(&told, 65536);
    struct archive_file files[16];
    struct manifest_line top[8], lines[2];
    size_t n = 0, top_count = 0;
    for (size_t i = 0; i < COUNT_OF(places); i++) {
        for (size_t k = 0; k < 2; k++) {
            const char *relative = k ? "originals/0123456789abcdef_x.csv" : "2026/x_2026-03.csv";
            archive_file_init(&files[n], arena_printf(arena, "%s/%s", places[i], relative));
            text_printf(&files[n].content, "%zu %zu\n", i, k);
            lines[k].path = relative;
            sha256_hex(files[n].content.bytes, files[n].content.length, lines[k].sha256);
            n++;
        }
        archive_file_init(&files[n], arena_printf(arena, "%s/" MANIFEST_NAME, places[i]));
        manifest_render(lines, 2, &files[n].content);
        top[top_count].path = arena_strdup(arena, files[n].path);
        sha256_hex(files[n].content.bytes, files[n].content.length, top[top_count++].sha256);
        n++;
    }
    archive_file_init(&files[n], "network.json");
    text_puts(&files[n].content, "{}\n");
    top[top_count].path = "network.json";
    sha256_hex("{}\n", 3, top[top_count++].sha256);
    n++;
    archive_file_init(&files[n], MANIFEST_NAME);
    manifest_render(top, top_count, &files[n].content);
    n++;
    cr_assert(archive_write_files(root, files, n, &error), "%s", error.text);
    for (size_t i = 0; i < n; i++)
        archive_file_done(&files[i]);
    report = (struct verify_report){.tell = note_finding, .context = &told};
    text_puts(&told, "");
}

static void finish(void)
{
    text_done(&told);
    fixture_remove_folder(root);
    arena_free(arena);
}

TestSuite(verify, .init = start, .fini = finish);

static void verify(void)
{
    cr_assert(archive_verify(root, &report, &error), "%s", error.text);
}

Test(verify, finds_nothing_in_an_archive_as_it_was_written)
{
    verify();
    cr_expect_eq(verify_report_count(&report), 0, "%s", told.bytes);
    cr_expect_eq(report.files, 10);
}

Test(verify, agrees_with_sha256sum)
{
    cr_expect_eq(fixture_run("cd '%s' && sha256sum -c --strict --quiet " MANIFEST_NAME, root), 0);
    cr_expect_eq(
        fixture_run("cd '%s/stations/heron-creek' && sha256sum -c --strict --quiet " MANIFEST_NAME, root), 0);
    fixture_write(root, "stations/heron-creek/2026/x_2026-03.csv", "9 9\n");
    cr_expect_neq(fixture_run("cd '%s/stations/heron-creek' && sha256sum -c --status " MANIFEST_NAME, root),
                  0);
}

Test(verify, names_a_missing_a_changed_and_a_foreign_file)
{
    fixture_run("rm '%s/stations/heron-creek/2026/x_2026-03.csv'", root);
    fixture_write(root, "stations/quiet-pool/2026/x_2026-03.csv", "9 9\n");
    fixture_write(root, "barometers/mill-roof/originals/extra.csv", "");
    verify();
    cr_expect_str_eq(told.bytes, "foreign barometers/mill-roof/originals/extra.csv\n"
                                 "missing stations/heron-creek/2026/x_2026-03.csv\n"
                                 "changed stations/quiet-pool/2026/x_2026-03.csv\n");
    cr_expect_eq(verify_report_count(&report), 3);
}

Test(verify, names_what_a_changed_manifest_gives_away)
{
    fixture_write(root, "stations/heron-creek/" MANIFEST_NAME, "");
    verify();
    cr_expect_not_null(strstr(told.bytes, "changed stations/heron-creek/" MANIFEST_NAME "\n"));
    cr_expect_not_null(strstr(told.bytes, "foreign stations/heron-creek/2026/x_2026-03.csv\n"));
    cr_expect_eq(report.findings[VERIFY_FOREIGN], 2);
}

Test(verify, names_a_manifest_that_is_none)
{
    fixture_write(root, "stations/heron-creek/" MANIFEST_NAME, "../../etc/passwd\n");
    verify();
    cr_expect_str_eq(told.bytes, "changed stations/heron-creek/" MANIFEST_NAME "\n"
                                 "unreadable stations/heron-creek/" MANIFEST_NAME "\n");
}

Test(verify, names_a_whole_station_that_no_manifest_knows)
{
    fixture_run("mkdir -p '%s/stations/stray'", root);
    fixture_write(root, "stations/stray/a b.csv", "x");
    fixture_write(root, "stations/stray/" MANIFEST_NAME, "");
    verify();
    cr_expect_eq(report.findings[VERIFY_FOREIGN], 2, "%s", told.bytes);
    cr_expect_not_null(strstr(told.bytes, "foreign stations/stray/a b.csv\n"));
}

Test(verify, follows_no_links)
{
    fixture_run("cd '%s' && ln -s stations linked; rm network.json; "
                "printf '{}\\n' >elsewhere; ln -s elsewhere network.json",
                root);
    verify();
    cr_expect_not_null(strstr(told.bytes, "changed network.json\n"));
    cr_expect_not_null(strstr(told.bytes, "foreign linked\n"));
    cr_expect_not_null(strstr(told.bytes, "foreign elsewhere\n"));
}

Test(verify, passes_over_temporaries_of_ours)
{
    fixture_write(root, "stations/heron-creek/2026/.rillward-x_2026-03.csv", "half");
    verify();
    cr_expect_eq(verify_report_count(&report), 0, "%s", told.bytes);
}

Test(verify, refuses_a_folder_that_is_no_archive)
{
    fixture_run("rm '%s/" MANIFEST_NAME "'", root);
    cr_assert_not(archive_verify(root, &report, &error));
    cr_expect_eq(error.kind, ERROR_SYSTEM);
}

Test(verify, counts_without_a_listener)
{
    fixture_run("rm '%s/network.json'", root);
    report.tell = NULL;
    verify();
    cr_expect_eq(report.findings[VERIFY_MISSING], 1);
}
