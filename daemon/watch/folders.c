/* SPDX-License-Identifier: MIT */
#include "watch/folders.h"

#include "base/memory.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/inotify.h>

/* MODIFY is left out: it comes hundreds of times for one file, and files are looked at again by the clock
 * anyway. CREATE is the only event of a file that is published by a hard link; ATTRIB tells when an
 * unreadable file becomes readable. */
#define EVENTS                                                                                               \
    (IN_CREATE | IN_CLOSE_WRITE | IN_MOVED_TO | IN_MOVED_FROM | IN_DELETE | IN_ATTRIB | IN_DELETE_SELF |     \
     IN_MOVE_SELF | IN_ONLYDIR | IN_EXCL_UNLINK)

struct mark {
    int wd;
    struct folder *folder; /* NULL: leaving */
    struct mark *next;
};

struct folders {
    int inotify;
    struct folder *root;
    struct folder **names; /* by parent and name */
    size_t name_buckets, count;
    struct mark **marks; /* by wd */
    size_t mark_buckets, mark_count, watched;
};

static struct folder *add_child(struct folders *folders, struct folder *parent, const char *name);
static void unlink_folder(struct folders *folders, struct folder *folder);
static void drop_children(struct folders *folders, struct folder *folder);
static void sweep_below(struct folders *folders, struct folder *folder, uint32_t generation);
static void sweep_leaving(struct folders *folders);
static void give_watch(struct folders *folders, struct folder *folder, int wd);
static void remove_watch(struct folders *folders, struct folder *folder);
static struct mark **mark_place(const struct folders *folders, int wd);
static size_t name_bucket(const struct folders *folders, const struct folder *parent, const char *name);
static void widen_names(struct folders *folders);
static void widen_marks(struct folders *folders);

struct folders *folders_new(int inotify)
{
    enum { FIRST_BUCKETS = 64 }; /* powers of two */
    struct folders *folders = x_alloc(sizeof *folders);
    *folders = (struct folders){
        .inotify = inotify,
        .root = x_alloc(sizeof *folders->root + 1),
        .names = x_array(FIRST_BUCKETS, sizeof *folders->names),
        .name_buckets = FIRST_BUCKETS,
        .marks = x_array(FIRST_BUCKETS, sizeof *folders->marks),
        .mark_buckets = FIRST_BUCKETS,
    };
    folders->root->wd = -1;
    return folders;
}

void folders_free(struct folders *folders)
{
    if (!folders)
        return;
    folders->inotify = -1;
    folders_drop(folders, folders->root);
    sweep_leaving(folders);
    free(folders->root);
    free(folders->names);
    free(folders->marks);
    free(folders);
}

struct folder *folders_find(const struct folders *folders, const char *path)
{
    struct folder *folder = folders->root;
    while (folder && *path) {
        char name[NAME_MAX + 1];
        size_t length = strcspn(path, "/");
        if (length > NAME_MAX)
            return NULL;
        memcpy(name, path, length);
        name[length] = '\0';
        folder = folders_find_child(folders, folder, name);
        path += length + (path[length] == '/');
    }
    return folder;
}

struct folder *folders_find_child(const struct folders *folders, const struct folder *parent,
                                  const char *name)
{
    struct folder *folder = folders->names[name_bucket(folders, parent, name)];
    while (folder && (folder->parent != parent || strcmp(folder->name, name) != 0))
        folder = folder->next_in_bucket;
    return folder;
}

struct folder *folders_touch(struct folders *folders, const char *path, uint32_t generation)
{
    struct folder *folder = folders->root;
    folder->generation = generation;
    while (*path) {
        char name[NAME_MAX + 1];
        size_t length = strcspn(path, "/");
        size_t kept = length < sizeof name ? length : sizeof name - 1;
        memcpy(name, path, kept);
        name[kept] = '\0';
        struct folder *child = folders_find_child(folders, folder, name);
        folder = child ? child : add_child(folders, folder, name);
        folder->generation = generation;
        path += length + (path[length] == '/');
    }
    return folder;
}

/* By way of the descriptor the watch is on the very folder that is going to be read, also when its name is
 * given to another in between. Where /proc is hidden nobody watches it, and only scans see what it holds. */
bool folders_add_watch(struct folders *folders, struct folder *folder, int fd)
{
    if (folders->inotify < 0) {
        errno = EBADF;
        return false;
    }
    char path[sizeof "/proc/self/fd/" + 3 * sizeof fd];
    snprintf(path, sizeof path, "/proc/self/fd/%d", fd);
    int wd = inotify_add_watch(folders->inotify, path, EVENTS);
    if (wd < 0) {
        int number = errno;
        remove_watch(folders, folder);
        errno = number;
        return false;
    }
    if (wd != folder->wd)
        give_watch(folders, folder, wd);
    return true;
}

void folders_drop(struct folders *folders, struct folder *folder)
{
    drop_children(folders, folder);
    remove_watch(folders, folder);
    folder->had_denials = false;
    if (folder->parent)
        unlink_folder(folders, folder);
}

void folders_sweep(struct folders *folders, uint32_t generation)
{
    sweep_below(folders, folders->root, generation);
    sweep_leaving(folders);
}

enum watch_owner folders_identify(const struct folders *folders, int wd, struct folder **ret)
{
    const struct mark *mark = *mark_place(folders, wd);
    *ret = mark ? mark->folder : NULL;
    return !mark ? OWNER_UNKNOWN : mark->folder ? OWNER_FOLDER : OWNER_LEAVING;
}

void folders_forget_watch(struct folders *folders, int wd)
{
    struct mark **place = mark_place(folders, wd);
    struct mark *mark = *place;
    if (!mark)
        return;
    if (mark->folder) {
        mark->folder->wd = -1;
        folders->watched--;
    }
    *place = mark->next;
    folders->mark_count--;
    free(mark);
}

bool folders_print_path(const struct folder *folder, char ret[PATH_MAX])
{
    char *start = ret + PATH_MAX - 1;
    *start = '\0';
    for (const struct folder *step = folder; step->parent; step = step->parent) {
        size_t length = strlen(step->name), slash = step != folder;
        if ((size_t)(start - ret) < length + slash)
            return false;
        start -= slash;
        if (slash)
            *start = '/';
        start -= length;
        memcpy(start, step->name, length);
    }
    memmove(ret, start, (size_t)(ret + PATH_MAX - start));
    return true;
}

size_t folders_count_watched(const struct folders *folders)
{
    return folders->watched;
}

static struct folder *add_child(struct folders *folders, struct folder *parent, const char *name)
{
    widen_names(folders);
    size_t length = strlen(name);
    struct folder *folder = x_alloc(sizeof *folder + length + 1);
    memcpy(folder->name, name, length + 1);
    folder->parent = parent;
    folder->wd = -1;
    folder->next = parent->first_child;
    if (folder->next)
        folder->next->previous = folder;
    parent->first_child = folder;
    struct folder **bucket = &folders->names[name_bucket(folders, parent, name)];
    folder->next_in_bucket = *bucket;
    *bucket = folder;
    folders->count++;
    return folder;
}

static void unlink_folder(struct folders *folders, struct folder *folder)
{
    struct folder **place = &folders->names[name_bucket(folders, folder->parent, folder->name)];
    while (*place != folder)
        place = &(*place)->next_in_bucket;
    *place = folder->next_in_bucket;
    if (folder->previous)
        folder->previous->next = folder->next;
    else
        folder->parent->first_child = folder->next;
    if (folder->next)
        folder->next->previous = folder->previous;
    folders->count--;
    free(folder);
}

/* Children first, without recursion: a tree that was moved into itself over and over may be deep. */
static void drop_children(struct folders *folders, struct folder *top)
{
    struct folder *folder = top;
    while (top->first_child) {
        while (folder->first_child)
            folder = folder->first_child;
        struct folder *parent = folder->parent;
        remove_watch(folders, folder);
        unlink_folder(folders, folder);
        folder = parent;
    }
}

static void sweep_below(struct folders *folders, struct folder *top, uint32_t generation)
{
    struct folder *folder = top->first_child;
    while (folder) {
        struct folder *parent = folder->parent, *next = folder->next;
        if (folder->generation != generation) {
            folders_drop(folders, folder);
        } else if (folder->first_child) {
            folder = folder->first_child;
            continue;
        }
        for (; !next && parent != top; parent = parent->parent)
            next = parent->next;
        folder = next;
    }
}

static void sweep_leaving(struct folders *folders)
{
    for (size_t i = 0; i < folders->mark_buckets; i++) {
        struct mark **place = &folders->marks[i];
        while (*place) {
            struct mark *mark = *place;
            if (mark->folder) {
                place = &mark->next;
                continue;
            }
            *place = mark->next;
            folders->mark_count--;
            free(mark);
        }
    }
}

static void give_watch(struct folders *folders, struct folder *folder, int wd)
{
    remove_watch(folders, folder);
    widen_marks(folders);
    struct mark **place = mark_place(folders, wd);
    if (!*place) {
        *place = x_alloc(sizeof **place);
        (*place)->wd = wd;
        folders->mark_count++;
    } else if ((*place)->folder) {
        (*place)->folder->wd = -1; /* the same inode under an older name */
        folders->watched--;
    }
    (*place)->folder = folder;
    folder->wd = wd;
    folders->watched++;
}

static void remove_watch(struct folders *folders, struct folder *folder)
{
    if (folder->wd < 0)
        return;
    struct mark *mark = *mark_place(folders, folder->wd);
    mark->folder = NULL;
    if (folders->inotify >= 0)
        inotify_rm_watch(folders->inotify, folder->wd); /* EINVAL: the kernel was quicker */
    folder->wd = -1;
    folders->watched--;
}

static struct mark **mark_place(const struct folders *folders, int wd)
{
    struct mark **place = &folders->marks[(size_t)wd & (folders->mark_buckets - 1)];
    while (*place && (*place)->wd != wd)
        place = &(*place)->next;
    return place;
}

/* FNV-1a over the name, started from the parent's address. */
static size_t name_bucket(const struct folders *folders, const struct folder *parent, const char *name)
{
    uint64_t hash = 14695981039346656037u ^ (uint64_t)(uintptr_t)parent;
    for (const char *c = name; *c; c++)
        hash = (hash ^ (unsigned char)*c) * 1099511628211u;
    return (size_t)(hash ^ hash >> 32) & (folders->name_buckets - 1);
}

static void widen_names(struct folders *folders)
{
    if (folders->count < folders->name_buckets)
        return;
    struct folder **old = folders->names;
    size_t old_buckets = folders->name_buckets;
    folders->name_buckets *= 2;
    folders->names = x_array(folders->name_buckets, sizeof *folders->names);
    for (size_t i = 0; i < old_buckets; i++) {
        for (struct folder *folder = old[i], *next; folder; folder = next) {
            next = folder->next_in_bucket;
            struct folder **bucket = &folders->names[name_bucket(folders, folder->parent, folder->name)];
            folder->next_in_bucket = *bucket;
            *bucket = folder;
        }
    }
    free(old);
}

static void widen_marks(struct folders *folders)
{
    if (folders->mark_count < folders->mark_buckets)
        return;
    struct mark **old = folders->marks;
    size_t old_buckets = folders->mark_buckets;
    folders->mark_buckets *= 2;
    folders->marks = x_array(folders->mark_buckets, sizeof *folders->marks);
    for (size_t i = 0; i < old_buckets; i++) {
        for (struct mark *mark = old[i], *next; mark; mark = next) {
            next = mark->next;
            struct mark **bucket = &folders->marks[(size_t)mark->wd & (folders->mark_buckets - 1)];
            mark->next = *bucket;
            *bucket = mark;
        }
    }
    free(old);
}
