/* SPDX-License-Identifier: MIT */
#include "archive/write_netcdf.h"

#include "base/file.h"
#include "base/timestamp.h"
#include "fixture.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

static struct arena *arena;
static char *folder;

static void start(void)
{
    arena = arena_new();
    folder = fixture_make_folder();
}

static void finish(void)
{
    fixture_remove_folder(folder);
    arena_free(arena);
}

TestSuite(write_netcdf, .init = start, .fini = finish);

static void expect_conventions(const struct dataset *dataset)
{
    fixture_write_month(dataset, folder);
    cr_expect_eq(fixture_check("check_cf.py", fixture_month_path(arena, dataset, folder, ".nc")), 0);
}

/* What ncdump prints of the header, without the name of the file. */
static char *header_of(const struct dataset *dataset)
{
    fixture_write_month(dataset, folder);
    const char *path = fixture_month_path(arena, dataset, folder, ".nc");
    cr_assert_eq(fixture_run("ncdump -h -n month '%s' >'%s/header'", path, folder), 0);
    return fixture_read(arena, folder, "header");
}

Test(write_netcdf, has_the_golden_header)
{
    const char *golden = fixture_read(arena, fixture_here(), "golden/heron-creek_2026-03.cdl");
    cr_assert_not_null(golden);
    cr_expect_str_eq(header_of(fixture_month(arena)), golden);
}

Test(write_netcdf, keeps_the_conventions)
{
    expect_conventions(fixture_month(arena));
    expect_conventions(fixture_long_month(arena, 8928));
}

Test(write_netcdf, keeps_the_conventions_where_little_is_known)
{
    struct dataset *dataset = fixture_month(arena);
    struct station station = *dataset->station;
    struct config config = *dataset->config;
    station.elevation = station.sensor_elevation = NAN;
    station.datum = "";
    station.salinity_source = SALINITY_FRESH;
    config.operator_name = config.contact = config.public_url = "";
    dataset->station = &station;
    dataset->config = &config;
    dataset->note_count = dataset->check_count = dataset->drop_count = 0;
    memset(dataset->raw.drop, 0, dataset->raw.n * sizeof *dataset->raw.drop);
    expect_conventions(dataset);
    cr_expect_not_null(strstr(header_of(dataset), ":naming_authority = \"sallow-mouth\""));
}

Test(write_netcdf, keeps_the_conventions_for_every_quantity)
{
    struct dataset *dataset = fixture_month(arena);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (!dataset->record.value[q])
            record_add_column(&dataset->record, arena, q);
        record_add_uncertainty(&dataset->record, arena, q);
        for (size_t i = 0; i < dataset->record.n; i++)
            dataset->record.flag[q][i] = isnan(dataset->record.value[q][i]) ? FLAG_MISSING : FLAG_PASS;
    }
    expect_conventions(dataset);
}

Test(write_netcdf, cuts_long_lists_at_a_whole_line)
{
    enum { MANY = 2000 };
    struct dataset *dataset = fixture_month(arena);
    struct note *notes = arena_array(arena, MANY, sizeof *notes);
    for (size_t i = 0; i < MANY; i++) {
        notes[i] = dataset->notes[3];
        notes[i].text = "a remark that is repeated, and repeated, and repeated\nwith a line end";
    }
    dataset->notes = notes;
    dataset->note_count = MANY;
    const char *header = header_of(dataset);
    cr_expect_not_null(strstr(header, " more stand in the metadata beside the CSV\""));
    cr_expect_not_null(strstr(header, "repeated\\\\x0Awith a line end"));
}

Test(write_netcdf, writes_the_same_bytes_twice)
{
    struct text one, other;
    text_init(&one, 1 << 24);
    text_init(&other, 1 << 24);
    write_netcdf(fixture_long_month(arena, 8928), &one);
    write_netcdf(fixture_long_month(arena, 8928), &other);
    cr_assert_eq(one.length, other.length);
    cr_expect_eq(memcmp(one.bytes, other.bytes, one.length), 0);
    text_done(&one);
    text_done(&other);
}
