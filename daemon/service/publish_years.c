/* SPDX-License-Identifier: MIT */
#include "service/publish_years.h"

#include "archive/write_netcdf.h"
#include "service/dataset_load.h"
#include "service/revise.h"

#include <inttypes.h>
#include <string.h>

enum { MONTHS_OF_A_YEAR = 12, LARGEST_LIST = 1 << 16 };

static int32_t first_month_of(const struct config *config, int32_t month);
static const char *name_records(const struct page_fact *pages, size_t n, struct arena *arena);
static bool render_year(struct pipeline *p, size_t station, int32_t first, const struct page_fact *pages, size_t n,
                        struct archive_file *file, struct error *error);
static bool tell_months(struct pipeline *p, const struct page_fact *pages, size_t n, struct arena *arena,
                        const char **ret, struct error *error);

bool publish_years(struct pipeline *p, size_t station, const struct page_fact *pages, size_t n,
                   struct batch_of_files *batch, struct year_due **ret, size_t *ret_n, struct error *error)
{
    struct year_due *list = arena_array(p->arena, n + 1, sizeof *list);
    *ret = list;
    *ret_n = 0;
    for (size_t k = 0, next; p->config->netcdf_year_begins > 0 && k < n; k = next) {
        int32_t first = first_month_of(p->config, pages[k].month);
        bool is_published = false;
        for (next = k; next < n && pages[next].month < first + MONTHS_OF_A_YEAR; next++)
            is_published |= pages[next].revision > 0;
        if (!is_published)
            continue;
        char path[ARCHIVE_PATH_SIZE], known[SHA256_HEX_SIZE];
        const char *before, *records = name_records(pages + k, next - k, p->arena);
        archive_year_path(p->config->stations[station].id, first / 12, first % 12 + 1, path);
        if (!store_year_find(p->store, path, p->arena, &before, error) || !batch_look_up(p, path, known, error))
            return false;
        if (*known && strcmp(before, records) == 0)
            continue;
        if (!render_year(p, station, first, pages + k, next - k, batch_add(batch, path, p->station_places[station]),
                         error))
            return false;
        list[(*ret_n)++] = (struct year_due){arena_strdup(p->arena, path), records};
    }
    return true;
}

bool publish_years_wants(const struct config *config, const char *station, const char *path)
{
    char example[ARCHIVE_PATH_SIZE];
    if (config->netcdf_year_begins == 0)
        return false;
    archive_year_path(station, 2000, config->netcdf_year_begins, example);
    size_t length = strlen(example) - strlen("2000.nc");
    return strlen(path) == strlen(example) && strncmp(path, example, length) == 0;
}

/* Of the year that the month lies in. */
static int32_t first_month_of(const struct config *config, int32_t month)
{
    int32_t begins = config->netcdf_year_begins - 1, of_year = month % MONTHS_OF_A_YEAR;
    return month - (of_year - begins + MONTHS_OF_A_YEAR) % MONTHS_OF_A_YEAR;
}

static const char *name_records(const struct page_fact *pages, size_t n, struct arena *arena)
{
    struct text list;
    char *ret = arena_alloc(arena, SHA256_HEX_SIZE);
    text_init(&list, LARGEST_LIST);
    for (size_t k = 0; k < n; k++)
        text_printf(&list, "%d %" PRId64 " %s %d\n", pages[k].month, pages[k].revision, pages[k].content,
                    (int)pages[k].state);
    sha256_hex(list.bytes, list.length, ret);
    text_done(&list);
    return ret;
}

int64_t publish_years_revision(const struct config *config, const char *station, const char *path,
                               const struct page_fact *pages, size_t n)
{
    int64_t revision = 0;
    for (size_t k = 0; config->netcdf_year_begins > 0 && k < n; k++) {
        char of_month[ARCHIVE_PATH_SIZE];
        if (strcmp(publish_years_path(config, station, pages[k].month, of_month), path) == 0)
            revision += pages[k].revision;
    }
    return revision;
}

char *publish_years_path(const struct config *config, const char *station, int32_t month, char ret[ARCHIVE_PATH_SIZE])
{
    int32_t first = first_month_of(config, month);
    return archive_year_path(station, first / 12, first % 12 + 1, ret);
}

/* Its revision rises with that of each month. */
static bool render_year(struct pipeline *p, size_t station, int32_t first, const struct page_fact *pages, size_t n,
                        struct archive_file *file, struct error *error)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    struct dataset dataset;
    if (!dataset_load_year(p, station, first, arena, &dataset, error))
        return false;
    for (size_t k = 0; k < n; k++)
        dataset.revision += pages[k].revision;
    if (!tell_months(p, pages, n, arena, &dataset.history, error))
        return false;
    if (dataset.record.n > 0)
        write_netcdf(&dataset, &file->content);
    return true;
}

/* "made of 2026-04 revision 2, 2026-05 revision 1", then what the newest revision of each changed. */
static bool tell_months(struct pipeline *p, const struct page_fact *pages, size_t n, struct arena *arena,
                        const char **ret, struct error *error)
{
    struct text text;
    text_init(&text, LARGEST_LIST);
    const char *between = "made of ";
    bool ok = true;
    for (size_t k = 0; k < n; k++) {
        if (pages[k].revision == 0)
            continue;
        text_printf(&text, "%s%04d-%02d revision %" PRId64, between, pages[k].month / 12, pages[k].month % 12 + 1,
                    pages[k].revision);
        between = ", ";
    }
    for (size_t k = 0; ok && k < n; k++) {
        struct revision_fact *newest;
        size_t count;
        ok = store_revisions_of_month(p->store, pages[k].place, pages[k].month, 1, arena, &newest, &count, error);
        const char *line = ok && count > 0 ? revise_history("", newest->revision, newest->changes, arena) : "";
        if (*line)
            text_printf(&text, "\n%04d-%02d %s", pages[k].month / 12, pages[k].month % 12 + 1, line);
    }
    *ret = text.bytes ? arena_strdup(arena, text.bytes) : "";
    text_done(&text);
    return ok;
}
