/* SPDX-License-Identifier: MIT */
#include "archive/archive.h"

#include "archive/manifest.h"
#include "fixture.h"

#include <criterion/criterion.h>
#include <signal.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>

#define SHA "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"

static struct arena *arena;
static char *root;
static struct error error;
static char path[ARCHIVE_PATH_SIZE];

static void start(void)
{
    arena = arena_new();
    root = fixture_make_folder();
    error = (struct error){0};
}

static void finish(void)
{
    fixture_remove_folder(root);
    arena_free(arena);
}

TestSuite(archive, .init = start, .fini = finish);

static void set_file(struct archive_file *file, const char *at, const char *content)
{
    archive_file_init(file, at);
    text_puts(&file->content, content);
}

static ino_t inode_of(const char *relative)
{
    struct stat status = {0};
    cr_assert_eq(stat(arena_printf(arena, "%s/%s", root, relative), &status), 0);
    return status.st_ino;
}

static bool has_leftovers(void)
{
    return fixture_run("find '%s' -name '.rillward-*' | grep -q .", root) == 0;
}

Test(archive, puts_a_month_where_its_year_is)
{
    cr_expect_str_eq(archive_month_path("heron-creek", 2026, 3, ".csv", path),
                     "stations/heron-creek/2026/heron-creek_2026-03.csv");
    cr_expect_str_eq(archive_month_path("a.b_c", 1999, 12, ".csv-metadata.json", path),
                     "stations/a.b_c/1999/a.b_c_1999-12.csv-metadata.json");
}

Test(archive, puts_a_former_revision_beside_its_year_s_records_and_knows_it_again)
{
    int32_t month = 0;
    int64_t revision = 0;
    cr_expect_str_eq(archive_revision_path("heron-creek", 2026, 3, 12, "_daily.csv", path),
                     "stations/heron-creek/2026/revisions/2026-03_r12/heron-creek_2026-03_daily.csv");
    cr_expect(manifest_path_is_plain(path));
    cr_assert(archive_revision_of(path, &month, &revision));
    cr_expect_eq(month, 2026 * 12 + 2);
    cr_expect_eq(revision, 12);
    cr_expect_not(archive_revision_of("stations/heron-creek/2026/heron-creek_2026-03.csv", &month, &revision));
    cr_expect_not(archive_revision_of("stations/a/2026/revisions/2026-13_r1/a_2026-13.csv", &month, &revision));
    cr_expect_not(archive_revision_of("stations/a/2026/revisions/2026-03_r1", &month, &revision));
    cr_expect_not(archive_revision_of("stations/a/2026/revisions/2026-03_rx/a_2026-03.csv", &month, &revision));
}

Test(archive, puts_originals_by_the_place_that_they_belong_to)
{
    cr_expect_str_eq(archive_original_path(ARCHIVE_STATION, "heron-creek", SHA, "crew a/March 1.csv", path),
                     "stations/heron-creek/originals/0123456789abcdef_March_1.csv");
    cr_expect_str_eq(archive_original_path(ARCHIVE_BAROMETER, "mill-roof", SHA, "x.csv", path),
                     "barometers/mill-roof/originals/0123456789abcdef_x.csv");
    cr_expect_str_eq(archive_original_path(ARCHIVE_NETWORK, "", SHA, "notes.csv", path),
                     "network/originals/0123456789abcdef_notes.csv");
}

Test(archive, reduces_hostile_names_to_plain_ones)
{
    static const struct {
        const char *name, *kept;
    } rows[] = {
        {"=cmd|' /C calc'!A0", "_cmd__"},       {"a\n\x1B\"<b>.csv", "a___"}, {"..", ".."}, {"", ""},
        {"\xC3\xA9t\xC3\xA9.csv", "__t__.csv"},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        archive_original_path(ARCHIVE_STATION, "s", SHA, rows[i].name, path);
        cr_expect(manifest_path_is_plain(path), "%s", path);
        cr_expect_eq(strncmp(path, "stations/s/originals/0123456789abcdef_", 38), 0);
        if (!strchr(rows[i].name, '/'))
            cr_expect(text_starts_with(path + 38, rows[i].kept), "%s", path);
    }
}

Test(archive, keeps_the_end_of_a_long_name)
{
    char name[301];
    memset(name, 'x', 300);
    memcpy(name + 290, "_march.csv", 11);
    archive_original_path(ARCHIVE_STATION, "s", SHA, name, path);
    cr_expect_eq(strlen(path), 38 + 80);
    cr_expect(text_ends_with(path, "x_march.csv"));
}

Test(archive, fits_the_longest_station_id)
{
    char id[65];
    memset(id, 's', 64);
    id[64] = '\0';
    archive_month_path(id, 9999, 12, ".csv-metadata.json", path);
    cr_expect(manifest_path_is_plain(path));
    archive_original_path(ARCHIVE_BAROMETER, id, SHA, path, path);
    cr_expect(manifest_path_is_plain(path));
    cr_expect_str_eq(archive_manifest_path(ARCHIVE_STATION, "x", path), "stations/x/manifest-sha256.txt");
    cr_expect_str_eq(archive_manifest_path(ARCHIVE_NETWORK, "", path), "network/manifest-sha256.txt");
}

Test(archive, renders_every_format_of_a_month_with_its_path)
{
    const struct archive_writer *writers[ARCHIVE_WRITERS_MAX];
    struct dataset *dataset = fixture_month(arena);
    size_t n = archive_writers_wanted(dataset->config, writers);
    struct archive_file *files = arena_array(arena, n, sizeof *files);
    archive_render_month(dataset, files);
    cr_assert(archive_write_files(root, files, n, &error), "%s", error.text);
    for (size_t i = 0; i < n; i++) {
        char sha256[SHA256_HEX_SIZE];
        cr_expect(text_ends_with(files[i].path, writers[i]->extension));
        cr_expect_gt(files[i].content.length, 0);
        cr_assert(file_sha256(arena_printf(arena, "%s/%s", root, files[i].path), sha256, &error));
        cr_expect_str_eq(sha256, files[i].sha256);
        archive_file_done(&files[i]);
    }
    cr_expect_not(has_leftovers());
}

Test(archive, writes_the_record_and_what_else_the_settings_ask_for)
{
    const struct archive_writer *writers[ARCHIVE_WRITERS_MAX];
    struct config config = {.archive_formats = 1u << FORMAT_WATERML};
    size_t n = archive_writers_wanted(&config, writers), all;
    cr_assert_eq(n, 5);
    cr_expect_str_eq(writers[0]->extension, ".csv");
    cr_expect_str_eq(writers[4]->extension, ".xml");
    config.archive_formats = (1u << FORMAT_COUNT) - 1;
    archive_writers(&all);
    cr_expect_eq(archive_writers_wanted(&config, writers), all);
}

Test(archive, every_format_has_a_writer)
{
    size_t n;
    const struct archive_writer *writers = archive_writers(&n);
    for (enum archive_format format = 0; format < FORMAT_COUNT; format++) {
        size_t i = 0;
        while (i < n && writers[i].format != format)
            i++;
        cr_expect_lt(i, n, "%d", format);
    }
}

Test(archive, renders_the_records_before_all_else)
{
    size_t n;
    const struct archive_writer *writers = archive_writers(&n);
    for (size_t i = 1; i < n; i++)
        cr_expect_leq(writers[i].is_record, writers[i - 1].is_record);
}

Test(archive, writes_nothing_where_nothing_changed)
{
    struct archive_file file;
    set_file(&file, "stations/a/x.csv", "one");
    cr_assert(archive_write_files(root, &file, 1, &error));
    cr_expect_not(file.unchanged);
    ino_t before = inode_of(file.path);
    memcpy(file.known_sha256, file.sha256, sizeof file.sha256);
    cr_assert(archive_write_files(root, &file, 1, &error));
    cr_expect(file.unchanged);
    cr_expect_eq(inode_of(file.path), before);
    archive_file_done(&file);
}

Test(archive, writes_again_what_was_cut_or_removed_on_disk)
{
    struct archive_file file;
    set_file(&file, "stations/a/x.csv", "one");
    cr_assert(archive_write_files(root, &file, 1, &error));
    memcpy(file.known_sha256, file.sha256, sizeof file.sha256);
    fixture_write(root, "stations/a/x.csv", "o");
    cr_assert(archive_write_files(root, &file, 1, &error));
    cr_expect_str_eq(fixture_read(arena, root, file.path), "one");
    fixture_run("rm '%s/stations/a/x.csv'", root);
    cr_assert(archive_write_files(root, &file, 1, &error));
    cr_expect_str_eq(fixture_read(arena, root, file.path), "one");
    archive_file_done(&file);
}

Test(archive, leaves_all_old_files_whole_when_a_folder_is_in_the_way)
{
    struct archive_file files[2];
    set_file(&files[0], "stations/a/x.csv", "old");
    cr_assert(archive_write_files(root, files, 1, &error));
    archive_file_done(&files[0]);
    fixture_run("mkdir -p '%s/stations/a/y.csv'", root);
    set_file(&files[0], "stations/a/x.csv", "new");
    set_file(&files[1], "stations/a/y.csv", "new");
    cr_assert_not(archive_write_files(root, files, 2, &error));
    cr_expect_eq(error.kind, ERROR_SYSTEM);
    cr_expect_not_null(strstr(error.text, "stations/a/y.csv"));
    cr_expect_str_eq(fixture_read(arena, root, "stations/a/x.csv"), "old");
    cr_expect_not(has_leftovers());
    archive_file_done(&files[0]);
    archive_file_done(&files[1]);
}

Test(archive, leaves_all_old_files_whole_when_a_file_stands_where_a_folder_is_needed)
{
    struct archive_file files[2];
    set_file(&files[0], "stations/a/x.csv", "old");
    cr_assert(archive_write_files(root, files, 1, &error));
    archive_file_done(&files[0]);
    fixture_write(root, "stations/b", "a file");
    set_file(&files[0], "stations/a/x.csv", "new");
    set_file(&files[1], "stations/b/y.csv", "new");
    cr_assert_not(archive_write_files(root, files, 2, &error));
    cr_expect_eq(error.kind, ERROR_SYSTEM);
    cr_expect_str_eq(fixture_read(arena, root, "stations/a/x.csv"), "old");
    cr_expect_not(has_leftovers());
    archive_file_done(&files[0]);
    archive_file_done(&files[1]);
}

/* The limit on the size of files stands for a full disk: the second file meets it half way. */
Test(archive, leaves_all_old_files_whole_when_the_disk_is_full)
{
    struct archive_file files[2];
    set_file(&files[0], "stations/a/x.csv", "old x");
    set_file(&files[1], "stations/a/y.csv", "old y");
    cr_assert(archive_write_files(root, files, 2, &error));
    text_clear(&files[0].content);
    text_puts(&files[0].content, "new x");
    for (int i = 0; i < 1000; i++)
        text_puts(&files[1].content, "0123456789");
    signal(SIGXFSZ, SIG_IGN);
    struct rlimit before, small = {4096, 4096};
    getrlimit(RLIMIT_FSIZE, &before);
    small.rlim_max = before.rlim_max;
    setrlimit(RLIMIT_FSIZE, &small);
    bool ok = archive_write_files(root, files, 2, &error);
    setrlimit(RLIMIT_FSIZE, &before);
    cr_assert_not(ok);
    cr_expect_eq(error.kind, ERROR_SYSTEM);
    cr_expect_str_eq(fixture_read(arena, root, "stations/a/x.csv"), "old x");
    cr_expect_str_eq(fixture_read(arena, root, "stations/a/y.csv"), "old y");
    cr_expect_not(has_leftovers());
    archive_file_done(&files[0]);
    archive_file_done(&files[1]);
}

Test(archive, refuses_content_that_ran_into_its_limit)
{
    struct archive_file file;
    archive_file_init(&file, "x.csv");
    file.content.limit = 4;
    text_puts(&file.content, "12345");
    cr_assert_not(archive_write_files(root, &file, 1, &error));
    cr_expect_eq(error.kind, ERROR_INPUT);
    archive_file_done(&file);
}

Test(archive, writes_an_empty_file_as_well)
{
    struct archive_file file;
    archive_file_init(&file, MANIFEST_NAME);
    cr_assert(archive_write_files(root, &file, 1, &error), "%s", error.text);
    cr_expect_str_eq(fixture_read(arena, root, MANIFEST_NAME), "");
    archive_file_done(&file);
}
