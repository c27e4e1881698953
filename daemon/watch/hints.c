/* SPDX-License-Identifier: MIT */
#include "watch/hints.h"

#include "base/memory.h"
#include "base/timestamp.h"
#include "watch/path.h"

#include <stdlib.h>
#include <string.h>

#define BUCKETS HINTS_FILE_LIMIT

struct look {
    struct look *next_in_bucket;
    struct sighting sighting;
    int64_t due;
    uint64_t sequence; /* order of arrival among equals */
    size_t place;      /* in the heap */
    bool is_hint;      /* named by an event since the last look */
    char path[];
};

struct hints {
    struct look *buckets[BUCKETS];
    struct look *heap[HINTS_FILE_LIMIT]; /* the earliest first */
    size_t count, hinted;
    uint64_t sequence;
    bool takes_newest; /* next: what stands beside it */
    char *folders[HINTS_FOLDER_LIMIT]; /* a ring, in order of arrival */
    size_t first_folder, folder_count;
    bool is_scan_wanted;
};

static struct look *find(const struct hints *hints, const char *path);
static struct look *insert(struct hints *hints, const char *path);
static struct look *newest_due(const struct hints *hints, int64_t now);
static struct look *beside_newest(const struct hints *hints, int64_t now);
static bool is_earlier(const struct look *a, const struct look *b);
static void drop(struct hints *hints, struct look *look);
static void set_due(struct hints *hints, struct look *look, int64_t due);
static void mark_hint(struct hints *hints, struct look *look, bool is_hint);
static void forget_folders(struct hints *hints);
static size_t bucket_of(const char *path);
static void sift_up(struct hints *hints, size_t place);
static void sift_down(struct hints *hints, size_t place);

struct hints *hints_new(void)
{
    return x_alloc(sizeof(struct hints));
}

void hints_free(struct hints *hints)
{
    if (!hints)
        return;
    while (hints->count > 0)
        drop(hints, hints->heap[hints->count - 1]);
    forget_folders(hints);
    free(hints);
}

void hints_add_file(struct hints *hints, const char *path, enum hint_kind kind, int64_t now)
{
    struct look *look = find(hints, path);
    if (!look && hints->count == HINTS_FILE_LIMIT) {
        hints_want_scan(hints);
        drop(hints, hints->heap[0]);
    }
    if (!look)
        look = insert(hints, path);
    if (kind != HINT_TOUCHED)
        look->sighting.was_renamed_in = kind == HINT_RENAMED;
    mark_hint(hints, look, true);
    if (now < look->due)
        set_due(hints, look, now);
}

bool hints_put_file(struct hints *hints, const char *path, const struct sighting *sighting, int64_t due)
{
    struct look *look = find(hints, path);
    if (!look)
        look = insert(hints, path);
    if (!look)
        return false;
    look->sighting = *sighting;
    mark_hint(hints, look, false);
    set_due(hints, look, due);
    return true;
}

bool hints_take_file(struct hints *hints, int64_t now, char ret_path[PATH_MAX], struct sighting *ret)
{
    if (hints->count == 0 || hints->heap[0]->due > now)
        return false;
    struct look *look = hints->takes_newest ? beside_newest(hints, now) : hints->heap[0];
    hints->takes_newest = !hints->takes_newest;
    *ret = look->sighting;
    memcpy(ret_path, look->path, strlen(look->path) + 1);
    drop(hints, look);
    return true;
}

/* There is one. A heap knows only its earliest: the others are looked through, a few thousand at most. */
static struct look *newest_due(const struct hints *hints, int64_t now)
{
    struct look *newest = hints->heap[0];
    for (size_t i = 1; i < hints->count; i++)
        if (hints->heap[i]->due <= now && is_earlier(newest, hints->heap[i]))
            newest = hints->heap[i];
    return newest;
}

/* The earliest in its folder. */
static struct look *beside_newest(const struct hints *hints, int64_t now)
{
    struct look *earliest = newest_due(hints, now);
    char folder[PATH_MAX], other[PATH_MAX];
    path_parent(earliest->path, folder);
    for (size_t i = 0; i < hints->count; i++)
        if (is_earlier(hints->heap[i], earliest) && strcmp(path_parent(hints->heap[i]->path, other), folder) == 0)
            earliest = hints->heap[i];
    return earliest;
}

bool hints_recall_file(const struct hints *hints, const char *path, struct sighting *ret)
{
    const struct look *look = find(hints, path);
    *ret = look ? look->sighting : (struct sighting){.is_known = false};
    return look != NULL;
}

void hints_drop_file(struct hints *hints, const char *path)
{
    struct look *look = find(hints, path);
    if (look)
        drop(hints, look);
}

size_t hints_count_waiting(const struct hints *hints)
{
    return hints->count - hints->hinted;
}

int64_t hints_next_due(const struct hints *hints)
{
    return hints->count > 0 ? hints->heap[0]->due : TIME_FOREVER;
}

void hints_add_folder(struct hints *hints, const char *path)
{
    if (hints->is_scan_wanted)
        return;
    for (size_t i = 0; i < hints->folder_count; i++)
        if (strcmp(hints->folders[(hints->first_folder + i) % HINTS_FOLDER_LIMIT], path) == 0)
            return;
    if (hints->folder_count == HINTS_FOLDER_LIMIT) {
        hints_want_scan(hints);
        return;
    }
    hints->folders[(hints->first_folder + hints->folder_count++) % HINTS_FOLDER_LIMIT] = x_strdup(path);
}

bool hints_take_folder(struct hints *hints, char ret_path[PATH_MAX])
{
    if (hints->folder_count == 0)
        return false;
    char *path = hints->folders[hints->first_folder];
    hints->first_folder = (hints->first_folder + 1) % HINTS_FOLDER_LIMIT;
    hints->folder_count--;
    memcpy(ret_path, path, strlen(path) + 1);
    free(path);
    return true;
}

void hints_want_scan(struct hints *hints)
{
    hints->is_scan_wanted = true;
}

bool hints_take_scan(struct hints *hints)
{
    if (!hints->is_scan_wanted)
        return false;
    hints->is_scan_wanted = false;
    forget_folders(hints);
    return true;
}

bool hints_are_pending(const struct hints *hints)
{
    return hints->hinted > 0 || hints->folder_count > 0 || hints->is_scan_wanted;
}

void sighting_update(struct sighting *sighting, const struct fingerprint *print, int64_t now)
{
    const struct fingerprint *old = &sighting->print;
    bool is_same = sighting->is_known && old->size == print->size && old->modified_ns == print->modified_ns &&
                   old->changed_ns == print->changed_ns && old->inode == print->inode &&
                   old->device == print->device;
    if (is_same)
        return;
    sighting->has_changed = sighting->is_known;
    sighting->is_known = true;
    sighting->print = *print;
    sighting->since = now;
    sighting->tries = 0;
}

static struct look *find(const struct hints *hints, const char *path)
{
    if (hints->count == 0)
        return NULL;
    struct look *look = hints->buckets[bucket_of(path)];
    while (look && strcmp(look->path, path) != 0)
        look = look->next_in_bucket;
    return look;
}

static struct look *insert(struct hints *hints, const char *path)
{
    if (hints->count == HINTS_FILE_LIMIT)
        return NULL;
    size_t length = strlen(path);
    struct look *look = x_alloc(sizeof *look + length + 1);
    memcpy(look->path, path, length + 1);
    look->due = TIME_FOREVER;
    look->sequence = hints->sequence++;
    struct look **bucket = &hints->buckets[bucket_of(path)];
    look->next_in_bucket = *bucket;
    *bucket = look;
    look->place = hints->count;
    hints->heap[hints->count++] = look;
    return look;
}

static void drop(struct hints *hints, struct look *look)
{
    mark_hint(hints, look, false);
    struct look **place = &hints->buckets[bucket_of(look->path)];
    while (*place != look)
        place = &(*place)->next_in_bucket;
    *place = look->next_in_bucket;
    struct look *last = hints->heap[--hints->count];
    if (last != look) {
        hints->heap[look->place] = last;
        last->place = look->place;
        sift_up(hints, last->place);
        sift_down(hints, last->place);
    }
    free(look);
}

static void set_due(struct hints *hints, struct look *look, int64_t due)
{
    look->due = due;
    sift_up(hints, look->place);
    sift_down(hints, look->place);
}

static void mark_hint(struct hints *hints, struct look *look, bool is_hint)
{
    hints->hinted += is_hint;
    hints->hinted -= look->is_hint;
    look->is_hint = is_hint;
}

static void forget_folders(struct hints *hints)
{
    for (; hints->folder_count > 0; hints->folder_count--) {
        free(hints->folders[hints->first_folder]);
        hints->first_folder = (hints->first_folder + 1) % HINTS_FOLDER_LIMIT;
    }
}

static size_t bucket_of(const char *path)
{
    uint64_t hash = 14695981039346656037u; /* FNV-1a */
    for (const char *c = path; *c; c++)
        hash = (hash ^ (unsigned char)*c) * 1099511628211u;
    return (size_t)(hash ^ hash >> 32) % BUCKETS;
}

static bool is_earlier(const struct look *a, const struct look *b)
{
    return a->due != b->due ? a->due < b->due : a->sequence < b->sequence;
}

static void swap(struct hints *hints, size_t a, size_t b)
{
    struct look *look = hints->heap[a];
    hints->heap[a] = hints->heap[b];
    hints->heap[b] = look;
    hints->heap[a]->place = a;
    hints->heap[b]->place = b;
}

static void sift_up(struct hints *hints, size_t place)
{
    while (place > 0 && is_earlier(hints->heap[place], hints->heap[(place - 1) / 2])) {
        swap(hints, place, (place - 1) / 2);
        place = (place - 1) / 2;
    }
}

static void sift_down(struct hints *hints, size_t place)
{
    for (;;) {
        size_t least = place;
        for (size_t child = 2 * place + 1; child <= 2 * place + 2 && child < hints->count; child++)
            if (is_earlier(hints->heap[child], hints->heap[least]))
                least = child;
        if (least == place)
            return;
        swap(hints, place, least);
        place = least;
    }
}
