/* SPDX-License-Identifier: MIT */
#include "watch/events.h"

#include <errno.h>
#include <stdalign.h>
#include <string.h>
#include <sys/inotify.h>
#include <unistd.h>

enum { BUFFER_SIZE = 64 * 1024, READS_PER_CALL = 64 };

static void apply(const struct events *events, const struct inotify_event *event, int64_t now);
static void apply_self(const struct events *events, const struct folder *folder, uint32_t mask);
static void apply_removed_watch(const struct events *events, int wd);
static void apply_folder(const struct events *events, struct folder *parent, const char *path,
                         const char *name, uint32_t mask);
static void apply_file(const struct events *events, const char *path, uint32_t mask, int64_t now);

/* The number of reads is bounded so that a writer who is faster than we are cannot hold us here. */
struct events_seen events_receive(const struct events *events, int64_t now)
{
    struct events_seen seen = {.count = 0};
    alignas(struct inotify_event) char buffer[BUFFER_SIZE];
    for (int i = 0; i < READS_PER_CALL; i++) {
        ssize_t length = read(events->inotify, buffer, sizeof buffer);
        if (length < 0 && errno == EINTR)
            continue;
        if (length <= 0)
            break;
        for (const char *next = buffer; next < buffer + length;) {
            const struct inotify_event *event = (const void *)next;
            seen.count++;
            seen.overflows += (event->mask & IN_Q_OVERFLOW) != 0;
            apply(events, event, now);
            next += sizeof *event + event->len;
        }
    }
    return seen;
}

static void apply(const struct events *events, const struct inotify_event *event, int64_t now)
{
    if (event->mask & IN_Q_OVERFLOW) {
        hints_want_scan(events->hints);
        return;
    }
    if (event->mask & IN_IGNORED) {
        apply_removed_watch(events, event->wd);
        return;
    }
    struct folder *folder;
    enum watch_owner owner = folders_identify(events->folders, event->wd, &folder);
    if (owner == OWNER_UNKNOWN && event->len > 0)
        hints_want_scan(events->hints); /* our picture of the tree is wrong */
    if (owner != OWNER_FOLDER)
        return;
    if (event->len == 0) {
        apply_self(events, folder, event->mask);
        return;
    }
    char path[PATH_MAX];
    if (!folders_print_path(folder, path))
        return;
    size_t length = strlen(path), name_length = strlen(event->name);
    if (length + 1 + name_length >= PATH_MAX)
        return;
    if (length > 0)
        path[length++] = '/';
    memcpy(path + length, event->name, name_length + 1);
    if (ignore_judge_path(events->ignore, path) == NAME_IGNORED)
        return;
    if (event->mask & IN_ISDIR)
        apply_folder(events, folder, path, event->name, event->mask);
    else
        apply_file(events, path, event->mask, now);
}

/* Of a folder's own fate its parent tells too, unless the parent is not watched or it is the inbox itself. */
static void apply_self(const struct events *events, const struct folder *folder, uint32_t mask)
{
    bool is_inbox = !folder->parent;
    if ((mask & (IN_UNMOUNT | IN_MOVE_SELF)) || (is_inbox && (mask & IN_DELETE_SELF)))
        hints_want_scan(events->hints);
}

static void apply_removed_watch(const struct events *events, int wd)
{
    struct folder *folder;
    enum watch_owner owner = folders_identify(events->folders, wd, &folder);
    folders_forget_watch(events->folders, wd);
    if (owner != OWNER_FOLDER)
        return;
    if (!folder->parent)
        hints_want_scan(events->hints);
    folders_drop(events->folders, folder);
}

/* A folder that is watched was read after its watch was set, so its CREATE is old news. */
static void apply_folder(const struct events *events, struct folder *parent, const char *path,
                         const char *name, uint32_t mask)
{
    struct folder *folder = folders_find_child(events->folders, parent, name);
    bool is_watched = folder && folder->wd >= 0;
    if (mask & IN_MOVED_FROM) {
        if (folder)
            folders_drop(events->folders, folder);
    } else if (mask & IN_DELETE) {
        if (folder && !is_watched)
            folders_drop(events->folders, folder);
    } else if ((mask & IN_MOVED_TO) || !is_watched || ((mask & IN_ATTRIB) && folder->had_denials)) {
        hints_add_folder(events->hints, path);
    }
}

/* A name that went away is looked at too if it was waiting, not dropped: when two files change places the
 * kernel tells of both arrivals before the second departure. */
static void apply_file(const struct events *events, const char *path, uint32_t mask, int64_t now)
{
    struct sighting sighting;
    bool has_left = mask & (IN_DELETE | IN_MOVED_FROM);
    if (has_left && !hints_recall_file(events->hints, path, &sighting))
        return;
    bool was_written = mask & (IN_CREATE | IN_CLOSE_WRITE);
    enum hint_kind kind = mask & IN_MOVED_TO ? HINT_RENAMED : was_written ? HINT_WRITTEN : HINT_TOUCHED;
    hints_add_file(events->hints, path, kind, now);
}
