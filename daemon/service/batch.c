/* SPDX-License-Identifier: MIT */
#include "service/batch.h"

#include "archive/manifest.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int compare_paths(const void *a, const void *b);
static void make_room(struct batch_of_files *batch, size_t more);

struct archive_file *batch_add(struct batch_of_files *batch, const char *path, uint32_t place)
{
    make_room(batch, 1);
    struct archive_file *file = &batch->files[batch->count];
    archive_file_init(file, path);
    batch->places[batch->count++] = place;
    return file;
}

/* Doubles, so that many cost no more than few each. */
static void make_room(struct batch_of_files *batch, size_t more)
{
    if (batch->capacity - batch->count >= more)
        return;
    size_t twice = batch->capacity ? batch->capacity * 2 : 16, needed = batch->count + more;
    batch->capacity = twice > needed ? twice : needed;
    batch->files = x_resize(batch->files, batch->capacity, sizeof *batch->files);
    batch->places = x_resize(batch->places, batch->capacity, sizeof *batch->places);
}

void batch_drop_last(struct batch_of_files *batch)
{
    archive_file_done(&batch->files[--batch->count]);
}

const struct archive_file *batch_find(const struct batch_of_files *batch, const char *path)
{
    for (size_t k = 0; k < batch->count; k++)
        if (strcmp(batch->files[k].path, path) == 0)
            return &batch->files[k];
    return NULL;
}

void batch_join(struct batch_of_files *batch, struct batch_of_files *more)
{
    make_room(batch, more->count);
    for (size_t k = 0; k < more->count; k++) {
        batch->files[batch->count] = more->files[k];
        batch->places[batch->count++] = more->places[k];
    }
    more->count = 0; /* what they hold belongs to the other now */
    batch_done(more);
}

/* Two lists by path become one, without sorting what may be thousands of lines. */
void batch_list(struct batch_of_files *batch, const struct file_fact *files, size_t n, const char *own,
                struct text *ret)
{
    const char *slash = strrchr(own, '/');
    size_t folder = slash ? (size_t)(slash - own) + 1 : 0, count = 0;
    struct manifest_line *lines = x_array(n + batch->count + 1, sizeof *lines);
    struct archive_file **fresh = x_array(batch->count + 1, sizeof *fresh);
    for (size_t k = 0; k < batch->count; k++)
        fresh[k] = &batch->files[k];
    qsort(fresh, batch->count, sizeof *fresh, compare_paths);
    for (size_t k = 0, f = 0; k < n || f < batch->count;) {
        int order = k == n ? 1 : f == batch->count ? -1 : strcmp(files[k].path, fresh[f]->path);
        const char *path = order < 0 ? files[k].path : fresh[f]->path;
        if (strcmp(path, own) != 0) {
            lines[count].path = path + folder;
            memcpy(lines[count++].sha256, order < 0 ? files[k].sha256 : archive_file_sha256(fresh[f]), SHA256_HEX_SIZE);
        }
        k += order <= 0;
        f += order >= 0;
    }
    manifest_render(lines, count, ret);
    free(lines);
    free(fresh);
}

static int compare_paths(const void *a, const void *b)
{
    const struct archive_file *const *x = a, *const *y = b;
    return strcmp((*x)->path, (*y)->path);
}

void batch_done(struct batch_of_files *batch)
{
    for (size_t k = 0; k < batch->count; k++)
        archive_file_done(&batch->files[k]);
    free(batch->files);
    free(batch->places);
    *batch = (struct batch_of_files){0};
}

bool batch_is_known(struct pipeline *p, const char *path, bool *ret, struct error *error)
{
    struct file_fact file;
    return store_file_find(p->store, path, p->arena, &file, ret, error);
}

bool batch_look_up(struct pipeline *p, const char *path, char ret[SHA256_HEX_SIZE], struct error *error)
{
    struct file_fact known;
    bool found;
    if (!store_file_find(p->store, path, p->arena, &known, &found, error))
        return false;
    snprintf(ret, SHA256_HEX_SIZE, "%s", found ? known.sha256 : "");
    return true;
}

bool batch_write(struct pipeline *p, struct batch_of_files *batch, struct error *error)
{
    for (size_t k = 0; k < batch->count; k++)
        if (!batch_look_up(p, batch->files[k].path, batch->files[k].known_sha256, error))
            return false;
    return archive_write_files(p->config->archive, batch->files, batch->count, error);
}

bool batch_put_facts(struct pipeline *p, const struct batch_of_files *batch, struct error *error)
{
    for (size_t k = 0; k < batch->count; k++) {
        const struct archive_file *file = &batch->files[k];
        struct file_fact fact = {file->path, file->sha256, batch->places[k], (int64_t)file->content.length};
        if (!file->unchanged && !store_file_put(p->store, &fact, error))
            return false;
    }
    return true;
}
