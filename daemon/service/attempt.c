/* SPDX-License-Identifier: MIT */
#include "service/attempt.h"

#include "base/log.h"
#include "base/text.h"

#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

enum { ATTEMPT_NONE, ATTEMPT_DROP, ATTEMPT_SPAN };

/* What the file holds: all zero, or a drop. Read back by the program that wrote it, on the same machine. */
struct attempt {
    uint64_t is_open; /* ATTEMPT_NONE, or which of the two */
    uint64_t place;
    struct span span;
    int64_t size, modified_ns, changed_ns;
    uint64_t inode, device;
    char path[PATH_MAX];
};

static int open_file(const char *state, const char *name, struct error *error);
static bool count_places(struct store *store, const uint32_t *places, uint64_t settings, int64_t now,
                         struct error *error);
static bool count_attempt(struct store *store, const struct attempt *attempt, uint64_t settings, int64_t now,
                          struct error *error);
static bool count_span(struct store *store, const struct attempt *left, uint64_t settings, int64_t now,
                       struct error *error);

int attempt_open(const char *state, struct store *store, uint64_t settings, int64_t now, bool *ret_was_left,
                 struct error *error)
{
    struct attempt attempt = {.is_open = 0};
    int fd = open_file(state, "reading", error);
    if (fd < 0)
        return -1;
    bool is_whole = pread(fd, &attempt, sizeof attempt, 0) == (ssize_t)sizeof attempt;
    *ret_was_left = is_whole && attempt.is_open == ATTEMPT_DROP && memchr(attempt.path, '\0', sizeof attempt.path);
    bool left_span = is_whole && attempt.is_open == ATTEMPT_SPAN;
    if ((*ret_was_left && !count_attempt(store, &attempt, settings, now, error)) ||
        (left_span && !count_span(store, &attempt, settings, now, error))) {
        close(fd);
        return -1;
    }
    attempt_end(fd);
    return fd;
}

void attempt_begin(int fd, const struct candidate *candidate)
{
    if (fd < 0)
        return;
    struct attempt attempt = {.is_open = ATTEMPT_DROP,
                              .size = candidate->size,
                              .modified_ns = candidate->modified_ns,
                              .changed_ns = candidate->changed_ns,
                              .inode = candidate->inode,
                              .device = candidate->device};
    memcpy(attempt.path, candidate->path, sizeof attempt.path);
    ssize_t ignored = pwrite(fd, &attempt, sizeof attempt, 0);
    (void)ignored;
}

void attempt_begin_span(int fd, uint32_t place, struct span span)
{
    struct attempt attempt = {.is_open = ATTEMPT_SPAN, .place = place, .span = span};
    if (fd < 0)
        return;
    ssize_t ignored = pwrite(fd, &attempt, sizeof attempt, 0);
    (void)ignored;
}

void attempt_end(int fd)
{
    const uint64_t is_open = ATTEMPT_NONE;
    if (fd < 0)
        return;
    ssize_t ignored = pwrite(fd, &is_open, sizeof is_open, 0);
    (void)ignored;
}

int attempt_open_places(const char *state, struct store *store, uint64_t settings, int64_t now, bool *ret_was_left,
                        struct error *error)
{
    uint32_t places[ATTEMPT_SLOTS] = {0};
    int fd = open_file(state, "working", error);
    *ret_was_left = false;
    if (fd < 0)
        return -1;
    ssize_t got = pread(fd, places, sizeof places, 0);
    for (size_t slot = 0; slot < ATTEMPT_SLOTS && got > 0; slot++)
        *ret_was_left |= places[slot] != 0;
    if (*ret_was_left && !count_places(store, places, settings, now, error)) {
        close(fd);
        return -1;
    }
    memset(places, 0, sizeof places);
    ssize_t ignored = pwrite(fd, places, sizeof places, 0);
    (void)ignored;
    return fd;
}

void attempt_begin_place(int fd, size_t slot, uint32_t place)
{
    if (fd < 0 || slot >= ATTEMPT_SLOTS)
        return;
    ssize_t ignored = pwrite(fd, &place, sizeof place, (off_t)(slot * sizeof place));
    (void)ignored;
}

void attempt_end_place(int fd, size_t slot)
{
    attempt_begin_place(fd, slot, 0);
}

static int open_file(const char *state, const char *name, struct error *error)
{
    char path[PATH_MAX];
    snprintf(path, sizeof path, "%s/%s", state, name);
    int fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0600);
    if (fd < 0)
        fail_errno(error, ERROR_SYSTEM, "cannot open '%s'", path);
    return fd;
}

/* A place that several slots name is counted once. */
static bool count_places(struct store *store, const uint32_t *places, uint64_t settings, int64_t now,
                         struct error *error)
{
    bool ok = store_begin(store, __func__, error);
    for (size_t slot = 0; ok && slot < ATTEMPT_SLOTS; slot++) {
        bool is_new = places[slot] != 0;
        for (size_t before = 0; before < slot; before++)
            is_new &= places[before] != places[slot];
        ok = !is_new || store_stuck_add(store, places[slot], now, settings, error);
    }
    if (ok && store_commit(store, error))
        return true;
    store_rollback(store);
    return false;
}

static bool count_attempt(struct store *store, const struct attempt *attempt, uint64_t settings, int64_t now,
                          struct error *error)
{
    struct path_fact fact;
    bool found;
    char visible[512];
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    if (!store_begin(store, __func__, error))
        return false;
    bool ok = store_path_find(store, attempt->path, arena, &fact, &found, error);
    bool is_same = found && fact.size == attempt->size && fact.modified_ns == attempt->modified_ns &&
                   fact.changed_ns == attempt->changed_ns && fact.inode == attempt->inode;
    struct path_fact next = {.path = attempt->path,
                             .size = attempt->size,
                             .modified_ns = attempt->modified_ns,
                             .changed_ns = attempt->changed_ns,
                             .inode = attempt->inode,
                             .device = attempt->device,
                             .state = DROP_WAITING,
                             .since = is_same && fact.state == DROP_WAITING ? fact.since : now,
                             .drop = found ? fact.drop : 0,
                             .attempts = is_same ? fact.attempts + 1 : 1,
                             .settings = settings,
                             .message = "the program ended while it was read: it is tried again"};
    ok = ok && store_path_put(store, &next, error) && store_commit(store, error);
    if (!ok) {
        store_rollback(store);
        return false;
    }
    text_make_visible(attempt->path, visible, sizeof visible);
    log_entry(LOG_LEVEL_WARNING, LOG_FIELDS({"RILLWARD_DROP", attempt->path}, {"RILLWARD_OUTCOME", "ended"}),
              "the program ended while it read '%s', for the %lld. time", visible, (long long)next.attempts);
    return true;
}

/* Counted with its span, unless that was derived in the end. */
static bool count_span(struct store *store, const struct attempt *left, uint64_t settings, int64_t now,
                       struct error *error)
{
    int64_t attempts = 0;
    if (!store_begin(store, __func__, error))
        return false;
    if (!store_ended_add(store, (uint32_t)left->place, left->span, now, settings, &attempts, error) ||
        !store_commit(store, error)) {
        store_rollback(store);
        return false;
    }
    if (attempts > 0)
        log_warning("the program ended while it derived a span, for the %lld. time: %s", (long long)attempts,
                    attempts < ENDED_MOST ? "it is tried again in smaller pieces" : "it is set aside");
    return true;
}
