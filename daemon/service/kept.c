/* SPDX-License-Identifier: MIT */
#include "service/kept.h"

#include "base/file.h"

#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool is_format_kept(const struct config *config, enum archive_format format);
static bool read_as_published(const struct config *config, const char *path, const char *sha256, struct text *ret);

void kept_collect(const struct dataset *dataset, uint32_t place, int64_t revision, char known[][SHA256_HEX_SIZE],
                  struct batch_of_files *batch)
{
    const struct config *config = dataset->config;
    const struct archive_writer *writers[ARCHIVE_WRITERS_MAX];
    size_t formats = config->keep_revisions > 0 ? archive_writers_wanted(config, writers) : 0;
    for (size_t f = 0; f < formats; f++) {
        char published[ARCHIVE_PATH_SIZE], kept[ARCHIVE_PATH_SIZE];
        if (!*known[f] || !is_format_kept(config, writers[f]->format))
            continue;
        archive_month_path(dataset->station->id, dataset->year, dataset->month, writers[f]->extension, published);
        archive_revision_path(dataset->station->id, dataset->year, dataset->month, revision, writers[f]->extension,
                              kept);
        struct text *content = &batch_add(batch, kept, place)->content;
        if (!read_as_published(config, published, known[f], content) &&
            !read_as_published(config, kept, known[f], content)) /* a cut came after the new files */
            batch_drop_last(batch);
    }
}

bool kept_is_wanted(const struct config *config, const char *path, const struct page_fact *pages, size_t n)
{
    int32_t month;
    int64_t revision;
    size_t formats, k = 0, longest = 0;
    bool is_asked = false;
    const struct archive_writer *writers = archive_writers(&formats);
    if (!archive_revision_of(path, &month, &revision))
        return false;
    while (k < n && pages[k].month != month)
        k++;
    for (size_t f = 0; f < formats; f++) {
        size_t length = strlen(writers[f].extension);
        if (length <= longest || !text_ends_with(path, writers[f].extension))
            continue;
        longest = length;
        is_asked = is_format_kept(config, writers[f].format);
    }
    return is_asked && k < n && revision < pages[k].revision && pages[k].revision - revision <= config->keep_revisions;
}

static bool is_format_kept(const struct config *config, enum archive_format format)
{
    return format == FORMAT_CSV || config->revision_formats >> format & 1;
}

static bool read_as_published(const struct config *config, const char *path, const char *sha256, struct text *ret)
{
    char full[PATH_MAX], found[SHA256_HEX_SIZE];
    CLEANUP(cleanup_free) char *bytes = NULL;
    size_t length;
    struct error ignored; /* what cannot be read is not what was published */
    snprintf(full, sizeof full, "%s/%s", config->archive, path);
    if (!file_exists(full) || !file_read(full, ARCHIVE_FILE_LIMIT, &bytes, &length, &ignored))
        return false;
    sha256_hex(bytes, length, found);
    if (strcmp(found, sha256) != 0)
        return false;
    text_add(ret, bytes, length);
    return true;
}
