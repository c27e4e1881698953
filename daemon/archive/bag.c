/* SPDX-License-Identifier: MIT */
#include "archive/bag.h"

#include "archive/archive.h"
#include "archive/manifest.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { LARGEST_TAG_FILE = 1 << 24 };

static const char declaration[] = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n";

static bool begin_folder(const char *target, char ret[PATH_MAX], struct error *error);
static bool put_in_place(const char *begun, const char *target, struct error *error);
static bool copy_payload(const char *archive, const struct bag_file *files, size_t n, const char *target,
                         int64_t *ret_bytes, struct error *error);
static bool copy_file(const char *archive, const struct bag_file *file, const char *target, int64_t *bytes,
                      struct error *error);
static void render_manifest(const struct bag_file *files, size_t n, struct text *ret);
static void render_info(const struct bag_label *labels, size_t n, int64_t bytes, size_t files, struct text *ret);
static bool write_tags(const char *target, const struct text *manifest, const struct text *info, struct error *error);
static bool write_tag(const char *target, const char *name, const struct text *content, struct error *error);
static struct manifest_line line_of(const char *name, const void *bytes, size_t n);

bool bag_write(const char *archive, const struct bag_file *files, size_t file_count, const struct bag_label *labels,
               size_t label_count, const char *target, int64_t *ret_bytes, struct error *error)
{
    char begun[PATH_MAX];
    if (!begin_folder(target, begun, error))
        return false;
    struct text manifest, info;
    text_init(&manifest, LARGEST_TAG_FILE);
    text_init(&info, LARGEST_TAG_FILE);
    bool ok = copy_payload(archive, files, file_count, begun, ret_bytes, error);
    if (ok) {
        render_manifest(files, file_count, &manifest);
        render_info(labels, label_count, *ret_bytes, file_count, &info);
        ok = write_tags(begun, &manifest, &info, error) && put_in_place(begun, target, error);
    }
    text_done(&manifest);
    text_done(&info);
    return ok || within(error, "the bag is not finished, remove '%s'", begun);
}

/* Beside the target, so that what stands under its name is whole. */
static bool begin_folder(const char *target, char ret[PATH_MAX], struct error *error)
{
    struct stat status;
    size_t length = strlen(target);
    while (length > 1 && target[length - 1] == '/')
        length--;
    if (length + sizeof BAG_UNFINISHED > PATH_MAX)
        return fail(error, ERROR_INPUT, "the path of '%s' is too long", target);
    if (lstat(target, &status) == 0)
        return fail(error, ERROR_INPUT, "'%s' is there already; a bag is a new folder", target);
    snprintf(ret, PATH_MAX, "%.*s" BAG_UNFINISHED, (int)length, target);
    if (mkdir(ret, 0777) == 0)
        return true;
    if (errno == EEXIST)
        return fail(error, ERROR_INPUT, "an earlier bag was not finished: remove '%s', then try again", ret);
    return fail_errno(error, ERROR_SYSTEM, "'%s' cannot be made", ret);
}

static bool put_in_place(const char *begun, const char *target, struct error *error)
{
    if (renameat2(AT_FDCWD, begun, AT_FDCWD, target, RENAME_NOREPLACE) != 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot call it '%s'", target);
    return file_sync_folders_of(&target, 1, error);
}

static bool copy_payload(const char *archive, const struct bag_file *files, size_t n, const char *target,
                         int64_t *ret_bytes, struct error *error)
{
    *ret_bytes = 0;
    for (size_t k = 0; k < n; k++)
        if (!copy_file(archive, &files[k], target, ret_bytes, error))
            return false;
    return true;
}

static bool copy_file(const char *archive, const struct bag_file *file, const char *target, int64_t *bytes,
                      struct error *error)
{
    char from[PATH_MAX], to[PATH_MAX], sha256[SHA256_HEX_SIZE];
    char *content = NULL;
    size_t length = 0;
    if (snprintf(from, sizeof from, "%s/%s", archive, file->path) >= (int)sizeof from ||
        snprintf(to, sizeof to, "%s/data/%s", target, file->path) >= (int)sizeof to)
        return fail(error, ERROR_INPUT, "the path of '%s' is too long", file->path);
    if (!file_read(from, ARCHIVE_FILE_LIMIT, &content, &length, error))
        return false;
    sha256_hex(content, length, sha256);
    bool is_same = strcmp(sha256, file->sha256) == 0;
    char folder[PATH_MAX];
    snprintf(folder, sizeof folder, "%.*s", (int)(strrchr(to, '/') - to), to);
    bool ok = is_same
                  ? file_make_folders(folder, error) && file_write_whole(to, content, length, error)
                  : fail(error, ERROR_INPUT,
                         "'%s' has not the bytes that were written: 'rillward verify' tells more, 'rillward rebuild' "
                         "writes it again",
                         file->path);
    free(content);
    *bytes += (int64_t)length;
    return ok;
}

static void render_manifest(const struct bag_file *files, size_t n, struct text *ret)
{
    struct manifest_line *lines = x_array(n, sizeof *lines);
    char **paths = x_array(n, sizeof *paths);
    for (size_t k = 0; k < n; k++) {
        lines[k].path = paths[k] = x_printf("data/%s", files[k].path);
        snprintf(lines[k].sha256, sizeof lines[k].sha256, "%s", files[k].sha256);
    }
    manifest_render(lines, n, ret);
    for (size_t k = 0; k < n; k++)
        free(paths[k]);
    free(paths);
    free(lines);
}

static void render_info(const struct bag_label *labels, size_t n, int64_t bytes, size_t files, struct text *ret)
{
    for (size_t k = 0; k < n; k++) {
        if (!labels[k].value || !*labels[k].value)
            continue;
        text_printf(ret, "%s: ", labels[k].name);
        for (const char *c = labels[k].value; *c; c++)
            text_putc(ret, (unsigned char)*c < ' ' ? ' ' : *c);
        text_putc(ret, '\n');
    }
    text_printf(ret, "Payload-Oxum: %" PRId64 ".%zu\n", bytes, files);
}

static bool write_tags(const char *target, const struct text *manifest, const struct text *info, struct error *error)
{
    const struct manifest_line lines[] = {
        line_of("bagit.txt", declaration, strlen(declaration)),
        line_of("bag-info.txt", info->bytes, info->length),
        line_of(MANIFEST_NAME, manifest->bytes, manifest->length),
    };
    struct text tags, bagit;
    text_init(&tags, LARGEST_TAG_FILE);
    text_init(&bagit, LARGEST_TAG_FILE);
    manifest_render(lines, COUNT_OF(lines), &tags);
    text_puts(&bagit, declaration);
    bool ok = write_tag(target, MANIFEST_NAME, manifest, error) && write_tag(target, "bag-info.txt", info, error) &&
              write_tag(target, "tagmanifest-sha256.txt", &tags, error) &&
              write_tag(target, "bagit.txt", &bagit, error);
    text_done(&tags);
    text_done(&bagit);
    return ok;
}

static bool write_tag(const char *target, const char *name, const struct text *content, struct error *error)
{
    char path[PATH_MAX];
    if (snprintf(path, sizeof path, "%s/%s", target, name) >= (int)sizeof path)
        return fail(error, ERROR_INPUT, "the path of '%s' is too long", target);
    return file_write_whole(path, content->bytes, content->length, error);
}

static struct manifest_line line_of(const char *name, const void *bytes, size_t n)
{
    struct manifest_line line = {.path = name};
    sha256_hex(bytes, n, line.sha256);
    return line;
}
