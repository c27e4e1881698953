/* SPDX-License-Identifier: MIT */
#include "archive/netcdf_file.h"

#include "archive/hdf5_message.h"
#include "archive/netcdf_attributes.h"
#include "base/file.h"
#include "base/memory.h"
#include "fixture.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct arena *arena;
static struct text text;

static void start(void)
{
    arena = arena_new();
    text_init(&text, 1 << 28);
}

static void finish(void)
{
    text_done(&text);
    arena_free(arena);
}

TestSuite(netcdf_file, .init = start, .fini = finish);

/* A file with all that there is; row i of every variable holds i. */
static void make(size_t rows)
{
    double *times = arena_array(arena, rows + 1, sizeof *times);
    float *values = arena_array(arena, rows + 1, sizeof *values);
    int32_t *counts = arena_array(arena, rows + 1, sizeof *counts);
    int8_t *codes = arena_array(arena, rows + 1, sizeof *codes);
    for (size_t i = 0; i < rows; i++) {
        times[i] = (double)i;
        values[i] = (float)i;
        counts[i] = (int32_t)i - 7;
        codes[i] = (int8_t)(i % 100);
    }
    const float fill = -9999;
    const double latitude = -33.86512;
    const int32_t numbers[] = {1, -2, 1 << 20};
    struct netcdf_file *file = netcdf_file_new(rows);
    netcdf_file_add_rows(file, "time", NETCDF_DOUBLE, times);
    size_t variable = netcdf_file_add_rows(file, "value", NETCDF_FLOAT, values);
    netcdf_file_put_fill(file, variable, &fill);
    netcdf_file_put_text(file, variable, "units", "\xC2\xB5S/cm");
    netcdf_file_put_text(file, variable, "nothing", "");
    variable = netcdf_file_add_rows(file, "count", NETCDF_INT, counts);
    netcdf_file_put_numbers(file, variable, "numbers", NETCDF_INT, numbers, COUNT_OF(numbers));
    netcdf_file_add_rows(file, "code", NETCDF_BYTE, codes);
    netcdf_file_add_value(file, "latitude", NETCDF_DOUBLE, &latitude);
    netcdf_file_add_value(file, "name", NETCDF_STRING, "Heron Creek");
    netcdf_file_add_value(file, "empty", NETCDF_STRING, "");
    for (int i = 0; i < 40; i++) { /* more than a header of the usual kind keeps */
        char name[16];
        snprintf(name, sizeof name, "a%d", 40 - i);
        netcdf_file_put_text(file, NETCDF_GLOBAL, name, name);
    }
    char *longer = arena_alloc(arena, NETCDF_TEXT_MAX + 100);
    memset(longer, 'x', NETCDF_TEXT_MAX + 50);
    memcpy(longer + NETCDF_TEXT_MAX - 1, "\xC2\xB5", 2);
    netcdf_file_put_text(file, NETCDF_GLOBAL, "longer", longer);
    netcdf_file_render(file, &text);
    netcdf_file_free(file);
}

/* 0: the common library reads it, and finds what make() put there. */
static int check(size_t rows)
{
    char *folder = fixture_make_folder();
    char *path = arena_printf(arena, "%s/x.nc", folder);
    struct error error;
    cr_assert(file_write_whole(path, text.bytes, text.length, &error));
    int status = fixture_run("/usr/bin/python3 -B -c '\n"
                             "import netCDF4, numpy, sys\n"
                             "f = netCDF4.Dataset(sys.argv[1]); n = int(sys.argv[2]); i = numpy.arange(n)\n"
                             "f.set_auto_mask(False)\n"
                             "assert len(f.dimensions[\"time\"]) == n\n"
                             "assert list(f.variables) == \"time value count code latitude name empty\".split()\n"
                             "assert (f[\"time\"][:] == i).all() and (f[\"value\"][:] == i).all()\n"
                             "assert (f[\"count\"][:] == i - 7).all() and (f[\"code\"][:] == i %% 100).all()\n"
                             "assert f[\"value\"].ncattrs() == [\"_FillValue\", \"units\"]\n"
                             "assert f[\"value\"].units == \"\\u00b5S/cm\" and f[\"value\"]._FillValue == -9999\n"
                             "assert list(f[\"count\"].numbers) == [1, -2, 1 << 20]\n"
                             "assert f[\"latitude\"][...] == -33.86512\n"
                             "assert f[\"name\"][...] == \"Heron Creek\" and f[\"empty\"][...] == \"\"\n"
                             "assert f.ncattrs() == [\"a%%d\" %% (40 - k) for k in range(40)] + [\"longer\"]\n"
                             "assert f.a1 == \"a1\" and f.longer == \"x\" * %d\n"
                             "' '%s' %zu >&2",
                             NETCDF_TEXT_MAX - 1, path, rows);
    fixture_remove_folder(folder);
    return status;
}

Test(netcdf_file, is_read_by_the_common_library)
{
    static const size_t rows[] = {1, 2, 8640, 16384, 16385, 50000};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        text_clear(&text);
        make(rows[i]);
        cr_expect_eq(check(rows[i]), 0, "%zu rows", rows[i]);
    }
}

Test(netcdf_file, without_rows_is_read_as_well)
{
    make(0);
    cr_expect_eq(check(0), 0);
}

Test(netcdf_file, writes_the_same_bytes_twice)
{
    char first[SHA256_HEX_SIZE], second[SHA256_HEX_SIZE];
    make(20000);
    sha256_hex(text.bytes, text.length, first);
    text_clear(&text);
    make(20000);
    sha256_hex(text.bytes, text.length, second);
    cr_expect_str_eq(first, second);
}

Test(netcdf_file, tells_when_the_text_had_no_room)
{
    text_done(&text);
    text_init(&text, 3000);
    make(5000);
    cr_expect(text.is_full);
}

/* hashlittle() of the author's own test: "Four score and seven years ago", start value 0. */
Test(netcdf_file, has_the_published_checksum)
{
    cr_expect_eq(hdf5_checksum("Four score and seven years ago", 30), 0x17770551);
    cr_expect_eq(hdf5_checksum("", 0), 0xDEADBEEF);
}

Test(netcdf_file, turns_the_web_address_into_a_naming_authority)
{
    char ret[64];
    cr_expect_str_eq(netcdf_naming_authority("https://water.example.org/x", "n", ret, sizeof ret), "org.example.water");
    cr_expect_str_eq(netcdf_naming_authority("https://water.example.org:8080", "n", ret, sizeof ret),
                     "org.example.water");
    cr_expect_str_eq(netcdf_naming_authority("", "sallow", ret, sizeof ret), "sallow");
    cr_expect_str_eq(netcdf_naming_authority("http://127.0.0.1/", "sallow", ret, sizeof ret), "sallow");
    cr_expect_str_eq(netcdf_naming_authority("http://localhost/", "sallow", ret, sizeof ret), "sallow");
}
