/* SPDX-License-Identifier: MIT */
#include "service/taker.h"

#include "base/log.h"
#include "base/timestamp.h"

#include <string.h>

enum {
    DROPS_AT_ONCE = 64, /* in one transaction: their waits for the disk are shared */
    TAKE_SLICE = 200,   /* ms after which a batch of drops is committed, so that a turn stays short */
};

/* What a turn needs at each of its drops. */
struct turn {
    struct taker *taker;
    struct pipeline *pipeline;
    struct watch *watch;
    struct clocks *clocks;
    struct metrics_run *run;
    size_t count;
};

static bool take_all(struct turn *t, struct error *error);
static bool take_drop(struct turn *t, const struct candidate *candidate, struct error *error);
static bool give_back(struct turn *t, const struct candidate *candidate, struct error *error);
static void log_take(const struct candidate *candidate, enum take_result result, const char *message);

void clocks_read(struct clocks *clocks)
{
    clocks->monotonic = clock_monotonic();
    clocks->disk_wall = clock_wall();
    clocks->wall = clocks->disk_wall + clocks->shift;
}

void taker_done(struct taker *taker)
{
    held_done(&taker->held);
}

bool taker_turn(struct taker *taker, struct pipeline *pipeline, struct watch *watch, struct clocks *clocks,
                struct metrics_run *run, size_t *ret_count, struct error *error)
{
    struct turn turn = {taker, pipeline, watch, clocks, run, 0};
    *ret_count = 0;
    if (!take_all(&turn, error))
        return false;
    if (turn.count > 0)
        log_debug("kept %zu drops for good", turn.count);
    taker->is_careful &= turn.count > 0 || !watch_is_idle(watch);
    if (turn.count == 0)
        taker->took_since = 0;
    else if (taker->took_since == 0)
        taker->took_since = clocks->monotonic;
    *ret_count = turn.count;
    return true;
}

static bool take_all(struct turn *t, struct error *error)
{
    struct candidate candidate;
    int64_t slice_end = t->clocks->monotonic + TAKE_SLICE;
    watch_receive(t->watch, t->clocks->monotonic);
    size_t most = t->taker->is_careful ? 1 : DROPS_AT_ONCE;
    while (t->count < most && t->clocks->monotonic < slice_end) {
        struct error looking = {.kind = ERROR_NONE};
        if (!watch_next(t->watch, t->clocks->disk_wall, t->clocks->monotonic, &candidate, &looking)) {
            if (looking.kind != ERROR_NONE)
                log_warning("looking through the inbox: %s", looking.text);
            break;
        }
        log_debug("looks at '%s'", candidate.path);
        if (!take_drop(t, &candidate, error))
            return false;
        clocks_read(t->clocks);
    }
    if (!store_is_open_transaction(t->pipeline->store) || pipeline_commit_taken(t->pipeline, error))
        return true;
    watch_rescan(t->watch);
    return false;
}

/* One of a batch, in the batch's transaction; counted where there was anything new about it. */
static bool take_drop(struct turn *t, const struct candidate *candidate, struct error *error)
{
    struct take_news news;
    int64_t until = held_until(&t->taker->held, candidate->path, t->clocks->monotonic);
    if (until > 0) {
        watch_look_again(t->watch, candidate, until);
        return true;
    }
    if ((!store_is_open_transaction(t->pipeline->store) && !store_begin(t->pipeline->store, __func__, error)) ||
        !store_mark(t->pipeline->store, error)) {
        watch_rescan(t->watch); /* it was named once, and nobody took it */
        return false;
    }
    enum take_result result =
        pipeline_take(t->pipeline, t->watch, candidate, t->clocks->wall, t->clocks->disk_wall, &news, error);
    if (result == TAKE_FAILED)
        return give_back(t, candidate, error);
    held_remove(&t->taker->held, candidate->path);
    if (news.again_in != TIME_FOREVER)
        watch_look_again(t->watch, candidate, t->clocks->monotonic + news.again_in);
    log_take(candidate, result, news.message);
    t->run->drops_taken += result == TAKE_TAKEN;
    t->run->drops_repeated += result == TAKE_REPEATED;
    t->run->drops_set_aside += result == TAKE_SET_ASIDE;
    if (result != TAKE_KNOWN) {
        t->pipeline->next_alarm_look = TIME_NONE;
        t->count++;
    }
    return true;
}

/* What it had written is undone; the rest of the batch stands. A drop that fails for the first time may mean that the
 * machine is in the way of all of them: false, and everything pauses. One that failed before waits alone. */
static bool give_back(struct turn *t, const struct candidate *candidate, struct error *error)
{
    struct error ignored; /* where even this cannot be written down, the log has it */
    char pause[TIMESTAMP_SIZE];
    bool is_new, stands = store_back_to_mark(t->pipeline->store);
    within(error, "taking '%s'", candidate->path);
    if (error->kind == ERROR_STORAGE)
        return false;
    int64_t wait = held_add(&t->taker->held, candidate->path, t->clocks->monotonic, &is_new);
    if (wait > 0)
        watch_look_again(t->watch, candidate, t->clocks->monotonic + wait);
    bool is_kept = stands && pipeline_take_failed(t->pipeline, candidate, t->clocks->wall, error->text, &ignored) &&
                   (!is_new || pipeline_commit_taken(t->pipeline, &ignored));
    if (!is_kept)
        store_rollback(t->pipeline->store);
    if (!is_kept || wait == 0)
        watch_rescan(t->watch); /* whatever this batch had taken is found again */
    if (is_new)
        return false;
    t->run->failures++;
    log_entry(LOG_LEVEL_ERROR, LOG_FIELDS({"RILLWARD_DROP", candidate->path}, {"RILLWARD_OUTCOME", "failed"}),
              "%s; trying again in %s", error->text, duration_print(wait, pause));
    return true;
}

static void log_take(const struct candidate *candidate, enum take_result result, const char *message)
{
    static const struct {
        enum log_level level; /* of one about which there is nothing to say */
        const char *outcome, *before, *after;
    } words[] = {[TAKE_TAKEN] = {LOG_LEVEL_INFO, "taken", "took", ""},
                 [TAKE_ELSEWHERE] = {LOG_LEVEL_DEBUG, "elsewhere", "left", " alone:"},
                 [TAKE_REPEATED] = {LOG_LEVEL_INFO, "repeated", "", " holds"},
                 [TAKE_WAITING] = {LOG_LEVEL_INFO, "waiting", "", " waits:"},
                 [TAKE_SET_ASIDE] = {LOG_LEVEL_WARNING, "set_aside", "set aside", ":"}};
    const char *first_end = strchr(message, '\n');
    int length = first_end ? (int)(first_end - message) : (int)strlen(message);
    if (result == TAKE_KNOWN || result == TAKE_FAILED)
        return;
    const bool has_complaint = result == TAKE_TAKEN && *message;
    log_entry(has_complaint ? LOG_LEVEL_WARNING : words[result].level,
              LOG_FIELDS({"RILLWARD_DROP", candidate->path}, {"RILLWARD_OUTCOME", words[result].outcome}),
              "%s%s'%s'%s%s%.*s", words[result].before, *words[result].before ? " " : "", candidate->path,
              has_complaint ? ";" : words[result].after, *message ? " " : "", length, message);
}
