/* SPDX-License-Identifier: MIT */
#include "watch/scan.h"

#include "base/file.h"
#include "base/memory.h"

#include <assert.h>
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct frame {
    char *path;
    int fd; /* open while files are handed out, -1 after */
    struct listing listing;
};

struct scan {
    char *start; /* waits to be read */
    struct frame *frames;
    size_t depth, capacity;
};

static void sort_entry(int fd, const struct dirent *entry, const char *path, const struct ignore_list *ignore,
                       struct listing *listing);
static unsigned char kind_of(int fd, const struct dirent *entry);
static void name_list_add(struct name_list *list, const char *name);
static void name_list_sort(struct name_list *list);
static void name_list_done(struct name_list *list);
static void close_files(struct frame *frame);
static void leave(struct scan *scan);
static const char *join(const char *folder, const char *name, char ret[PATH_MAX]);

void listing_read(int fd, const char *path, const struct ignore_list *ignore, struct listing *ret)
{
    *ret = (struct listing){.is_torn = false};
    int own = fcntl(fd, F_DUPFD_CLOEXEC, 0);
    DIR *folder = own >= 0 ? fdopendir(own) : NULL;
    if (!folder) {
        int number = errno;
        cleanup_fd(&own);
        errno = number;
        ret->is_torn = true;
        return;
    }
    for (;;) {
        errno = 0;
        const struct dirent *entry = readdir(folder);
        if (!entry)
            break;
        if (strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0)
            sort_entry(fd, entry, path, ignore, ret);
    }
    int number = errno;
    ret->is_torn = number != 0;
    closedir(folder);
    name_list_sort(&ret->files);
    name_list_sort(&ret->folders);
    errno = number;
}

void listing_done(struct listing *listing)
{
    name_list_done(&listing->files);
    name_list_done(&listing->folders);
}

struct scan *scan_new(void)
{
    return x_alloc(sizeof(struct scan));
}

void scan_free(struct scan *scan)
{
    if (!scan)
        return;
    scan_stop(scan);
    free(scan->frames);
    free(scan);
}

void scan_start(struct scan *scan, const char *path)
{
    assert(!scan->start && scan->depth == 0);
    scan->start = x_strdup(path);
}

void scan_stop(struct scan *scan)
{
    while (scan->depth > 0)
        leave(scan);
    free(scan->start);
    scan->start = NULL;
}

bool scan_is_running(const struct scan *scan)
{
    return scan->start || scan->depth > 0;
}

enum scan_item scan_peek(struct scan *scan)
{
    if (scan->start)
        return SCAN_FOLDER;
    while (scan->depth > 0) {
        struct frame *frame = &scan->frames[scan->depth - 1];
        if (frame->listing.files.next < frame->listing.files.count)
            return SCAN_FILE;
        close_files(frame);
        if (frame->listing.folders.next < frame->listing.folders.count)
            return SCAN_FOLDER;
        leave(scan);
    }
    return SCAN_END;
}

void scan_take(struct scan *scan, char ret_path[PATH_MAX], int *ret_fd, const char **ret_name)
{
    *ret_fd = -1;
    *ret_name = ret_path;
    if (scan->start) {
        memcpy(ret_path, scan->start, strlen(scan->start) + 1);
        free(scan->start);
        scan->start = NULL;
        return;
    }
    struct frame *frame = &scan->frames[scan->depth - 1];
    *ret_fd = frame->fd;
    struct name_list *list = frame->fd >= 0 ? &frame->listing.files : &frame->listing.folders;
    *ret_name = join(frame->path, list->names[list->next++], ret_path);
}

void scan_enter(struct scan *scan, const char *path, int fd, struct listing *listing)
{
    scan->frames = x_grow(scan->frames, scan->depth, &scan->capacity, sizeof *scan->frames);
    scan->frames[scan->depth++] = (struct frame){.path = x_strdup(path), .fd = fd, .listing = *listing};
    *listing = (struct listing){.is_torn = false};
}

static void sort_entry(int fd, const struct dirent *entry, const char *path, const struct ignore_list *ignore,
                       struct listing *listing)
{
    if (strlen(path) + 1 + strlen(entry->d_name) >= PATH_MAX) {
        listing->too_long++;
        return;
    }
    char whole[PATH_MAX];
    join(path, entry->d_name, whole);
    if (ignore_judge_path(ignore, whole) == NAME_IGNORED) {
        listing->ignored++;
        return;
    }
    unsigned char kind = kind_of(fd, entry);
    if (kind == DT_REG)
        name_list_add(&listing->files, entry->d_name);
    else if (kind == DT_DIR)
        name_list_add(&listing->folders, entry->d_name);
    else if (kind != DT_UNKNOWN)
        listing->special++;
}

/* DT_UNKNOWN: gone again. Not every filesystem tells the kind with the name. */
static unsigned char kind_of(int fd, const struct dirent *entry)
{
    if (entry->d_type != DT_UNKNOWN)
        return entry->d_type;
    struct stat status;
    if (fstatat(fd, entry->d_name, &status, AT_SYMLINK_NOFOLLOW) < 0)
        return errno == ENOENT ? DT_UNKNOWN : DT_REG; /* the look at the file will tell what is wrong */
    return (unsigned char)IFTODT(status.st_mode);
}

static void name_list_add(struct name_list *list, const char *name)
{
    size_t size = strlen(name) + 1;
    if (size > list->capacity - list->length) {
        list->capacity = list->capacity ? list->capacity * 2 : 1024;
        list->bytes = x_resize(list->bytes, list->capacity, 1);
    }
    memcpy(list->bytes + list->length, name, size);
    list->length += size;
    list->count++;
}

static int compare_names(const void *a, const void *b)
{
    const char *const *left = a, *const *right = b;
    return strcmp(*left, *right);
}

static void name_list_sort(struct name_list *list)
{
    list->names = x_array(list->count + 1, sizeof *list->names);
    const char *name = list->bytes;
    for (size_t i = 0; i < list->count; i++) {
        list->names[i] = name;
        name += strlen(name) + 1;
    }
    qsort(list->names, list->count, sizeof *list->names, compare_names);
}

static void name_list_done(struct name_list *list)
{
    free(list->bytes);
    free(list->names);
    *list = (struct name_list){.count = 0};
}

static void close_files(struct frame *frame)
{
    cleanup_fd(&frame->fd);
    frame->fd = -1;
    name_list_done(&frame->listing.files);
}

static void leave(struct scan *scan)
{
    struct frame *frame = &scan->frames[--scan->depth];
    close_files(frame);
    listing_done(&frame->listing);
    free(frame->path);
}

static const char *join(const char *folder, const char *name, char ret[PATH_MAX])
{
    size_t folder_length = strlen(folder), name_length = strlen(name);
    assert(folder_length + 1 + name_length < PATH_MAX);
    memcpy(ret, folder, folder_length);
    char *end = ret + folder_length;
    if (folder_length > 0)
        *end++ = '/';
    memcpy(end, name, name_length + 1);
    return end;
}
