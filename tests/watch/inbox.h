/* SPDX-License-Identifier: MIT */
/* A real inbox in a temporary folder, with clocks that tests move. The wall clock is the real one and what
 * was added to it, because the kernel stamps files with the real one; settling takes an hour so that no slow
 * machine can pass it. */
#ifndef RILLWARD_TESTS_WATCH_INBOX_H
#define RILLWARD_TESTS_WATCH_INBOX_H

#include "base/memory.h"
#include "base/text.h"
#include "base/timestamp.h"
#include "watch/watch.h"

#include <criterion/criterion.h>
#include <fcntl.h>
#include <ftw.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define SETTLE_MS HOUR_MS
#define RESCAN_MS (30 * DAY_MS)

struct inbox {
    char base[64], root[80];
    struct watch *watch;
    int64_t added, monotonic;
    struct text
        seen; /* of the last inbox_pump: "ready PATH", "renamed PATH" or "PATH: reason", a line each */
    struct candidate last;
    struct error error;
};

static inline void inbox_make(struct inbox *inbox)
{
    signal(SIGIO, SIG_IGN);
    *inbox = (struct inbox){.monotonic = DAY_MS};
    strcpy(inbox->base, "/tmp/rillward-watch-XXXXXX");
    cr_assert_not_null(mkdtemp(inbox->base));
    snprintf(inbox->root, sizeof inbox->root, "%s/inbox", inbox->base);
    cr_assert_eq(mkdir(inbox->root, 0755), 0);
    text_init(&inbox->seen, 4 << 20);
}

static inline void inbox_open_with(struct inbox *inbox, const char *const *ignore, size_t count)
{
    const struct watch_settings settings = {
        .root = inbox->root,
        .ignore = ignore,
        .ignore_count = count,
        .settle_ms = SETTLE_MS,
        .rescan_ms = RESCAN_MS,
    };
    inbox->watch = watch_open(&settings, &inbox->error);
    cr_assert_not_null(inbox->watch, "%s", inbox->error.text);
}

static inline void inbox_open(struct inbox *inbox)
{
    inbox_open_with(inbox, NULL, 0);
}

static inline int inbox_remove_entry(const char *path, const struct stat *status, int kind, struct FTW *place)
{
    (void)status, (void)kind, (void)place;
    return remove(path);
}

static inline void inbox_remove_tree(const char *path)
{
    nftw(path, inbox_remove_entry, 16, FTW_DEPTH | FTW_PHYS);
}

static inline void inbox_done(struct inbox *inbox)
{
    watch_close(inbox->watch);
    text_done(&inbox->seen);
    inbox_remove_tree(inbox->base);
}

/* The whole path of `path` in the inbox, or beside it where it begins with "../". One of a few buffers in
 * turn. */
static inline const char *inbox_at(const struct inbox *inbox, const char *path)
{
    static char places[4][PATH_MAX];
    static unsigned turn;
    char *place = places[turn++ % 4];
    bool is_beside = strncmp(path, "../", 3) == 0;
    snprintf(place, PATH_MAX, "%s/%s", is_beside ? inbox->base : inbox->root, is_beside ? path + 3 : path);
    return place;
}

static inline int inbox_create(const struct inbox *inbox, const char *path)
{
    int fd = open(inbox_at(inbox, path), O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0644);
    cr_assert(fd >= 0, "cannot create %s", path);
    return fd;
}

static inline void inbox_append(int fd, const char *content)
{
    cr_assert_eq(write(fd, content, strlen(content)), (ssize_t)strlen(content));
}

static inline void inbox_write(const struct inbox *inbox, const char *path, const char *content)
{
    int fd = inbox_create(inbox, path);
    inbox_append(fd, content);
    close(fd);
}

static inline void inbox_mkdir(const struct inbox *inbox, const char *path)
{
    cr_assert_eq(mkdir(inbox_at(inbox, path), 0755), 0, "cannot make %s", path);
}

static inline void inbox_rename(const struct inbox *inbox, const char *from, const char *to)
{
    cr_assert_eq(rename(inbox_at(inbox, from), inbox_at(inbox, to)), 0, "cannot rename %s to %s", from, to);
}

static inline void inbox_pass(struct inbox *inbox, int64_t ms)
{
    inbox->added += ms;
    inbox->monotonic += ms;
}

static inline int64_t inbox_wall(const struct inbox *inbox)
{
    return clock_wall() + inbox->added;
}

static inline void inbox_note(struct inbox *inbox)
{
    const struct candidate *last = &inbox->last;
    if (last->state == CANDIDATE_READY)
        text_printf(&inbox->seen, "%s %s\n", last->was_renamed_in ? "renamed" : "ready", last->path);
    else
        text_printf(&inbox->seen, "%s: %s\n", last->path, last->reason);
}

/* Work until nothing is left to do now; what was reported is in the text that is returned. */
static inline const char *inbox_pump(struct inbox *inbox)
{
    text_clear(&inbox->seen);
    watch_receive(inbox->watch, inbox->monotonic);
    for (size_t calls = 0; watch_deadline(inbox->watch) <= inbox->monotonic; calls++) {
        cr_assert(calls < 1000000, "the watch does not come to rest");
        while (watch_next(inbox->watch, inbox_wall(inbox), inbox->monotonic, &inbox->last, &inbox->error))
            inbox_note(inbox);
        cr_assert_eq(inbox->error.kind, ERROR_NONE, "%s", inbox->error.text);
        watch_receive(inbox->watch, inbox->monotonic);
    }
    return inbox->seen.bytes ? inbox->seen.bytes : "";
}

static inline struct watch_report inbox_report(const struct inbox *inbox)
{
    struct watch_report report;
    watch_report(inbox->watch, &report);
    return report;
}

#define EXPECT_SEEN(inbox, expected) cr_expect_str_eq(inbox_pump(inbox), expected)

#endif
