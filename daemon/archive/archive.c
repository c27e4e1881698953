/* SPDX-License-Identifier: MIT */
#include "archive/archive.h"

#include "archive/chart.h"
#include "archive/manifest.h"
#include "archive/write_csv.h"
#include "archive/write_csvw.h"
#include "archive/write_daily.h"
#include "archive/write_netcdf.h"
#include "archive/write_waterml.h"
#include "archive/write_xlsx.h"
#include "base/memory.h"

#include <assert.h>
#include <inttypes.h>
#include <limits.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { NAME_KEPT = 80, DIGITS_KEPT = 16 };
static const char of_revisions[] = "/revisions/";

static char *print_path(char ret[ARCHIVE_PATH_SIZE], const char *format, ...) __attribute__((format(printf, 2, 3)));
static void print_folder(enum archive_place place, const char *id, char *ret, size_t size);
static void reduce_name(const char *name, char ret[NAME_KEPT + 1]);
static bool look_at(const char *root, struct archive_file *file, struct error *error);
static bool begin_all(const char *root, const struct archive_file *files, struct file_fresh *fresh, size_t n,
                      struct error *error);
static bool end_all(const char *root, const struct archive_file *files, struct file_fresh *fresh, size_t n,
                    struct error *error);
static bool sync_folders(const char *root, const struct archive_file *files, size_t n, struct error *error);
static bool join(const char *root, const char *path, char ret[PATH_MAX], struct error *error);

static const struct archive_writer writers[] = {
    {".csv", "CSV", true, FORMAT_CSV, write_csv},
    {".csv-metadata.json", "metadata", true, FORMAT_CSV, write_csvw},
    {"_daily.csv", "daily CSV", false, FORMAT_CSV, write_daily_csv},
    {"_daily.csv-metadata.json", "daily metadata", false, FORMAT_CSV, write_daily_csvw},
    {".nc", "netCDF", false, FORMAT_NETCDF, write_netcdf},
    {".xlsx", "workbook", false, FORMAT_XLSX, write_xlsx},
    {".xml", "WaterML", false, FORMAT_WATERML, write_waterml},
    {".svg", "chart", false, FORMAT_CHART, chart_render},
    {".png", "chart for print", false, FORMAT_PNG, chart_render_png},
};
_Static_assert(COUNT_OF(writers) <= ARCHIVE_WRITERS_MAX, "callers have room for all");

const struct archive_writer *archive_writers(size_t *ret_count)
{
    *ret_count = COUNT_OF(writers);
    return writers;
}

size_t archive_writers_wanted(const struct config *config, const struct archive_writer *ret[ARCHIVE_WRITERS_MAX])
{
    size_t n = 0;
    for (size_t i = 0; i < COUNT_OF(writers); i++)
        if (writers[i].format == FORMAT_CSV || config->archive_formats >> writers[i].format & 1)
            ret[n++] = &writers[i];
    return n;
}

char *archive_month_path(const char *station, int year, int month, const char *extension, char ret[ARCHIVE_PATH_SIZE])
{
    return print_path(ret, "stations/%s/%04d/%s_%04d-%02d%s", station, year, station, year, month, extension);
}

char *archive_year_path(const char *station, int first_year, int first_month, char ret[ARCHIVE_PATH_SIZE])
{
    bool is_calendar = first_month == 1;
    return print_path(ret, "stations/%s/%s_%s%04d.nc", station, station, is_calendar ? "" : "water-year-",
                      first_year + !is_calendar);
}

char *archive_revision_path(const char *station, int year, int month, int64_t revision, const char *extension,
                            char ret[ARCHIVE_PATH_SIZE])
{
    return print_path(ret, "stations/%s/%04d%s%04d-%02d_r%" PRId64 "/%s_%04d-%02d%s", station, year, of_revisions, year,
                      month, revision, station, year, month, extension);
}

bool archive_revision_of(const char *path, int32_t *ret_month, int64_t *ret_revision)
{
    const char *at = strstr(path, of_revisions);
    int year, month, used = 0;
    if (!text_starts_with(path, "stations/") || !at)
        return false;
    return sscanf(at + strlen(of_revisions), "%4d-%2d_r%" SCNd64 "/%n", &year, &month, ret_revision, &used) == 3 &&
           used > 0 && month >= 1 && month <= 12 && (*ret_month = year * 12 + month - 1, true);
}

char *archive_original_path(enum archive_place place, const char *id, const char *sha256, const char *name,
                            char ret[ARCHIVE_PATH_SIZE])
{
    char folder[128], kept[NAME_KEPT + 1];
    print_folder(place, id, folder, sizeof folder);
    reduce_name(name, kept);
    return print_path(ret, "%s/originals/%.*s_%s", folder, DIGITS_KEPT, sha256, kept);
}

char *archive_manifest_path(enum archive_place place, const char *id, char ret[ARCHIVE_PATH_SIZE])
{
    char folder[128];
    print_folder(place, id, folder, sizeof folder);
    return print_path(ret, "%s/%s", folder, MANIFEST_NAME);
}

static char *print_path(char ret[ARCHIVE_PATH_SIZE], const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    int length = vsnprintf(ret, ARCHIVE_PATH_SIZE, format, arguments);
    va_end(arguments);
    assert(length > 0 && length < ARCHIVE_PATH_SIZE && manifest_path_is_plain(ret));
    (void)length;
    return ret;
}

static void print_folder(enum archive_place place, const char *id, char *ret, size_t size)
{
    int length = place == ARCHIVE_NETWORK
                     ? snprintf(ret, size, "network")
                     : snprintf(ret, size, "%s/%s", place == ARCHIVE_STATION ? "stations" : "barometers", id);
    assert(length > 0 && (size_t)length < size);
    (void)length;
}

/* The end of a long name tells more than its beginning: date and kind of file stand there. */
static void reduce_name(const char *name, char ret[NAME_KEPT + 1])
{
    const char *slash = strrchr(name, '/');
    const char *base = slash ? slash + 1 : name;
    size_t length = strlen(base);
    if (length > NAME_KEPT)
        base += length - NAME_KEPT;
    size_t n = 0;
    for (; base[n]; n++)
        ret[n] = manifest_byte_is_plain(base[n]) ? base[n] : '_';
    ret[n] = '\0';
}

void archive_file_init(struct archive_file *file, const char *path)
{
    *file = (struct archive_file){0};
    int length = snprintf(file->path, sizeof file->path, "%s", path);
    assert(length > 0 && (size_t)length < sizeof file->path);
    (void)length;
    text_init(&file->content, ARCHIVE_FILE_LIMIT);
}

void archive_file_done(struct archive_file *file)
{
    text_done(&file->content);
}

const char *archive_file_sha256(struct archive_file *file)
{
    if (!*file->sha256)
        sha256_hex(file->content.bytes ? file->content.bytes : "", file->content.length, file->sha256);
    return file->sha256;
}

void archive_files_init(const struct dataset *dataset, struct archive_file *files)
{
    const struct archive_writer *wanted[ARCHIVE_WRITERS_MAX];
    size_t n = archive_writers_wanted(dataset->config, wanted);
    for (size_t i = 0; i < n; i++) {
        char path[ARCHIVE_PATH_SIZE];
        archive_month_path(dataset->station->id, dataset->year, dataset->month, wanted[i]->extension, path);
        archive_file_init(&files[i], path);
    }
}

void archive_render_month(const struct dataset *dataset, struct archive_file *files)
{
    const struct archive_writer *wanted[ARCHIVE_WRITERS_MAX];
    size_t n = archive_writers_wanted(dataset->config, wanted);
    archive_files_init(dataset, files);
    for (size_t i = 0; i < n; i++)
        wanted[i]->render(dataset, &files[i].content);
}

bool archive_write_files(const char *root, struct archive_file *files, size_t n, struct error *error)
{
    for (size_t i = 0; i < n; i++)
        if (!look_at(root, &files[i], error))
            return false;
    struct file_fresh *fresh = x_array(n + 1, sizeof *fresh);
    bool ok = begin_all(root, files, fresh, n, error) && end_all(root, files, fresh, n, error);
    for (size_t i = 0; i < n; i++)
        file_fresh_drop(&fresh[i]);
    free(fresh);
    return ok && sync_folders(root, files, n, error);
}

/* Fingerprint, whether it must be written, and whether anything but a file stands in its way. */
static bool look_at(const char *root, struct archive_file *file, struct error *error)
{
    char full[PATH_MAX];
    struct stat status;
    if (file->content.is_full)
        return fail(error, ERROR_INPUT, "'%s' would have more than %zu bytes", file->path, file->content.limit);
    if (!join(root, file->path, full, error))
        return false;
    bool is_there = lstat(full, &status) == 0;
    if (is_there && !S_ISREG(status.st_mode))
        return fail(error, ERROR_SYSTEM, "'%s' is in the way: a plain file is needed there, move it away", full);
    file->unchanged = strcmp(archive_file_sha256(file), file->known_sha256) == 0 && is_there &&
                      (uintmax_t)status.st_size == file->content.length;
    return true;
}

static bool begin_all(const char *root, const struct archive_file *files, struct file_fresh *fresh, size_t n,
                      struct error *error)
{
    size_t synced = 0;
    for (size_t i = 0; i < n; i++) {
        char full[PATH_MAX];
        if (!files[i].unchanged &&
            (!join(root, files[i].path, full, error) || !file_make_folders_of(full, error) ||
             !file_fresh_write(&fresh[i], full, files[i].content.bytes, files[i].content.length, error)))
            return false;
        if (i + 1 < n && i + 1 - synced < SYNC_MOST)
            continue;
        if (!file_fresh_sync(fresh + synced, i + 1 - synced, error))
            return false;
        synced = i + 1;
    }
    return true;
}

static bool end_all(const char *root, const struct archive_file *files, struct file_fresh *fresh, size_t n,
                    struct error *error)
{
    for (size_t i = 0; i < n; i++) {
        char full[PATH_MAX];
        if (fresh[i].temporary &&
            (!join(root, files[i].path, full, error) || !file_fresh_place(&fresh[i], full, error)))
            return false;
    }
    return true;
}

static bool sync_folders(const char *root, const struct archive_file *files, size_t n, struct error *error)
{
    char **paths = x_array(n + 1, sizeof *paths);
    size_t count = 0;
    for (size_t i = 0; i < n; i++)
        if (!files[i].unchanged)
            paths[count++] = x_printf("%s/%s", root, files[i].path);
    bool ok = file_sync_folders_of((const char *const *)paths, count, error);
    while (count > 0)
        free(paths[--count]);
    free(paths);
    return ok;
}

static bool join(const char *root, const char *path, char ret[PATH_MAX], struct error *error)
{
    if (snprintf(ret, PATH_MAX, "%s/%s", root, path) < PATH_MAX)
        return true;
    return fail(error, ERROR_SYSTEM, "the path of '%s' in the archive is too long", path);
}
