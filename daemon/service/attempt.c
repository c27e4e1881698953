/* SPDX-License-Identifier: MIT */
#include "service/attempt.h"

#include "base/file.h"
#include "base/log.h"
#include "base/text.h"
#include "base/timestamp.h"

#include <fcntl.h>
#include <inttypes.h>
#include <limits.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define FILE_NAME "working-on"

enum { WORK_NONE, WORK_DROP, WORK_SPAN };

/* What the file holds, read back by the program that wrote it, on the same machine. Another version has other settings
 * anyway (config.h, digest), so what it left behind counts for nothing. */
struct working {
    uint64_t mark;
    uint64_t record_places[ATTEMPT_SLOTS]; /* 0: none */
    struct {
        uint64_t kind; /* WORK_NONE: what follows is of earlier work */
        uint64_t place;
        struct span span;
        int64_t size, modified_ns, changed_ns;
        uint64_t inode, device;
        char path[PATH_MAX];
    } loop;
};
#define MARK (0x72696c6cull << 32 | sizeof(struct working))

static int open_file(const char *state, struct error *error);
static void read_left(int fd, struct working *ret);
static void write_at(const struct attempts *attempts, size_t offset, const void *bytes, size_t size);
static bool count_left(struct attempts *attempts, const struct working *left, struct store *store, uint64_t settings,
                       int64_t now, struct error *error);
static bool count_drop(struct store *store, const struct working *left, uint64_t settings, int64_t now,
                       struct error *error);
static bool count_span(struct store *store, const struct working *left, uint64_t settings, int64_t now,
                       struct error *error);
static bool count_records(struct store *store, const struct working *left, uint64_t settings, int64_t now,
                          struct error *error);
static bool tell_records(struct attempts *attempts, struct store *store, struct error *error);

bool attempts_open(struct attempts *ret, const char *state, struct store *store, uint64_t settings, int64_t now,
                   struct error *error)
{
    struct working left;
    const struct working nothing = {.mark = MARK};
    *ret = (struct attempts){.fd = open_file(state, error)};
    if (ret->fd < 0)
        return false;
    read_left(ret->fd, &left);
    if (!count_left(ret, &left, store, settings, now, error) || !tell_records(ret, store, error)) {
        attempts_close(ret);
        return false;
    }
    write_at(ret, 0, &nothing, sizeof nothing);
    return true;
}

void attempts_close(struct attempts *attempts)
{
    cleanup_fd(&attempts->fd);
    attempts->fd = -1;
}

void attempt_begin(const struct attempts *attempts, const struct candidate *candidate)
{
    struct working working = {.loop = {.kind = WORK_DROP,
                                       .size = candidate->size,
                                       .modified_ns = candidate->modified_ns,
                                       .changed_ns = candidate->changed_ns,
                                       .inode = candidate->inode,
                                       .device = candidate->device}};
    memcpy(working.loop.path, candidate->path, sizeof working.loop.path);
    write_at(attempts, offsetof(struct working, loop), &working.loop, sizeof working.loop);
}

void attempt_begin_span(const struct attempts *attempts, uint32_t place, struct span span)
{
    const struct working working = {.loop = {.kind = WORK_SPAN, .place = place, .span = span}};
    write_at(attempts, offsetof(struct working, loop), &working.loop, sizeof working.loop);
}

void attempt_end(const struct attempts *attempts)
{
    const uint64_t kind = WORK_NONE;
    write_at(attempts, offsetof(struct working, loop.kind), &kind, sizeof kind);
}

void attempt_begin_record(const struct attempts *attempts, size_t slot, uint32_t place)
{
    const uint64_t number = place;
    if (slot > 0 && slot <= ATTEMPT_SLOTS)
        write_at(attempts, offsetof(struct working, record_places) + (slot - 1) * sizeof number, &number,
                 sizeof number);
}

void attempt_end_record(const struct attempts *attempts, size_t slot)
{
    attempt_begin_record(attempts, slot, 0);
}

bool attempt_succeeded(const struct attempts *attempts, struct store *store, uint32_t place, struct error *error)
{
    return !attempts || !attempts->counts_records ||
           store_unfinished_done(store, UNFINISHED_RECORDS, place, UNFINISHED_ALL, error);
}

bool attempts_work_alone(const struct attempts *attempts)
{
    return attempts && attempts->records_alone;
}

void attempts_rest(struct attempts *attempts)
{
    attempts->records_alone = false;
}

/* Earlier versions had two files; what they hold is of other settings. */
static int open_file(const char *state, struct error *error)
{
    char path[PATH_MAX];
    static const char *const former[] = {"reading", "working"};
    for (size_t i = 0; i < COUNT_OF(former); i++) {
        snprintf(path, sizeof path, "%s/%s", state, former[i]);
        unlink(path);
    }
    snprintf(path, sizeof path, "%s/" FILE_NAME, state);
    int fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0600);
    if (fd < 0)
        fail_errno(error, ERROR_SYSTEM, "cannot open '%s'", path);
    return fd;
}

static void read_left(int fd, struct working *ret)
{
    bool is_whole = pread(fd, ret, sizeof *ret, 0) == (ssize_t)sizeof *ret && ret->mark == MARK &&
                    memchr(ret->loop.path, '\0', sizeof ret->loop.path);
    if (!is_whole)
        *ret = (struct working){.mark = MARK};
}

static void write_at(const struct attempts *attempts, size_t offset, const void *bytes, size_t size)
{
    if (!attempts || attempts->fd < 0)
        return;
    ssize_t ignored = pwrite(attempts->fd, bytes, size, (off_t)offset);
    (void)ignored;
}

static bool count_left(struct attempts *attempts, const struct working *left, struct store *store, uint64_t settings,
                       int64_t now, struct error *error)
{
    attempts->left_drop = left->loop.kind == WORK_DROP;
    for (size_t slot = 0; slot < ATTEMPT_SLOTS; slot++)
        attempts->records_alone |= left->record_places[slot] != 0;
    bool left_span = left->loop.kind == WORK_SPAN;
    if (!attempts->left_drop && !left_span && !attempts->records_alone)
        return true;
    bool ok = store_begin(store, __func__, error) &&
              (!attempts->left_drop || count_drop(store, left, settings, now, error)) &&
              (!left_span || count_span(store, left, settings, now, error)) &&
              (!attempts->records_alone || count_records(store, left, settings, now, error)) &&
              store_commit(store, error);
    if (!ok)
        store_rollback(store);
    return ok;
}

static bool count_drop(struct store *store, const struct working *left, uint64_t settings, int64_t now,
                       struct error *error)
{
    struct path_fact fact;
    bool found;
    char visible[512];
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    if (!store_path_find(store, left->loop.path, arena, &fact, &found, error))
        return false;
    bool is_same = found && fact.size == left->loop.size && fact.modified_ns == left->loop.modified_ns &&
                   fact.changed_ns == left->loop.changed_ns && fact.inode == left->loop.inode;
    struct path_fact next = {.path = left->loop.path,
                             .size = left->loop.size,
                             .modified_ns = left->loop.modified_ns,
                             .changed_ns = left->loop.changed_ns,
                             .inode = left->loop.inode,
                             .device = left->loop.device,
                             .state = DROP_WAITING,
                             .since = is_same && fact.state == DROP_WAITING ? fact.since : now,
                             .drop = found ? fact.drop : 0,
                             .attempts = is_same ? fact.attempts + 1 : 1,
                             .settings = settings,
                             .message = "the program ended while it was read: it is tried again"};
    if (!store_path_put(store, &next, error))
        return false;
    text_make_visible(next.path, visible, sizeof visible);
    log_entry(LOG_LEVEL_WARNING, LOG_FIELDS({"RILLWARD_DROP", next.path}, {"RILLWARD_OUTCOME", "ended"}),
              "the program ended while it read '%s', for the %" PRId64 ". time", visible, next.attempts);
    return true;
}

/* Counted with its span, unless that was derived in the end. */
static bool count_span(struct store *store, const struct working *left, uint64_t settings, int64_t now,
                       struct error *error)
{
    int64_t attempts;
    if (!store_unfinished_add(store, UNFINISHED_SPAN, (uint32_t)left->loop.place, left->loop.span, now, settings,
                              &attempts, error))
        return false;
    if (attempts > 0)
        log_warning("the program ended while it derived a span, for the %" PRId64 ". time: %s", attempts,
                    attempts < UNFINISHED_SPAN_MOST ? "it is tried again in smaller pieces" : "it is set aside");
    return true;
}

/* A place that several slots name is counted once. */
static bool count_records(struct store *store, const struct working *left, uint64_t settings, int64_t now,
                          struct error *error)
{
    const uint64_t *places = left->record_places;
    for (size_t slot = 0; slot < ATTEMPT_SLOTS; slot++) {
        int64_t attempts;
        bool is_new = places[slot] != 0;
        for (size_t before = 0; before < slot; before++)
            is_new &= places[before] != places[slot];
        if (is_new && !store_unfinished_add(store, UNFINISHED_RECORDS, (uint32_t)places[slot], UNFINISHED_ALL, now,
                                            settings, &attempts, error))
            return false;
    }
    return true;
}

/* At each start, as long as none of the place's got through. */
static bool tell_records(struct attempts *attempts, struct store *store, struct error *error)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    struct unfinished *list;
    size_t n;
    if (!store_unfinished_load(store, UNFINISHED_RECORDS, arena, &list, &n, error))
        return false;
    attempts->counts_records = n > 0;
    for (size_t k = 0; k < n; k++)
        log_entry(LOG_LEVEL_WARNING, LOG_FIELDS({"RILLWARD_PLACE", list[k].key}, {"RILLWARD_OUTCOME", "ended"}),
                  "the program ended while it wrote a record of '%s', for the %" PRId64 ". time%s", list[k].key,
                  list[k].attempts, list[k].is_left_alone ? ": it is left alone, 'status' tells more" : "");
    return true;
}
