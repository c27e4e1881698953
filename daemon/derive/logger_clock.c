/* SPDX-License-Identifier: MIT */
#include "derive/logger_clock.h"

#include "base/timestamp.h"
#include "science/clock.h"

#include <stdlib.h>

#define SET_WITHIN ((int64_t)2 * 3600 * 1000) /* of entering the water */

/* The logger showed `shown` when it was `true_time`. */
struct clock_anchor {
    int64_t shown, true_time;
    bool is_setting; /* says nothing about the time before it */
};

static size_t find_anchors(size_t note_count, const struct note *notes, int64_t interval, struct clock_anchor *ret);
static struct clock_check known_before(const struct note *notes, size_t k);
static bool is_checked_near(size_t note_count, const struct note *notes, int64_t time);
static bool is_usable(const struct note *note);
static bool matters(const struct note *check, int64_t interval);
static int64_t true_time(const struct clock_anchor *anchors, size_t count, size_t *at, int64_t raw);

void logger_clock_correct(struct arena *arena, size_t n, const int64_t *raw, size_t note_count,
                          const struct note *notes, int64_t interval, int64_t *ret_time)
{
    struct clock_anchor *anchors = arena_array(arena, note_count + 1, sizeof *anchors);
    size_t count = find_anchors(note_count, notes, interval, anchors), at = 0;
    for (size_t i = 0; i < n; i++) {
        ret_time[i] = count > 0 ? true_time(anchors, count, &at, raw[i]) : raw[i];
        if (i > 0 && ret_time[i] <= ret_time[i - 1])
            ret_time[i] = ret_time[i - 1] + 1;
    }
}

size_t logger_clock_doubts(struct arena *arena, size_t note_count, const struct note *notes, int64_t interval,
                           struct clock_doubt **ret)
{
    size_t count = 0;
    *ret = arena_array(arena, note_count + 1, sizeof **ret);
    for (size_t k = 0; k < note_count; k++) {
        const struct note *note = &notes[k];
        if (note->kind != NOTE_CLOCK || note->until == TIME_NONE)
            continue;
        struct clock_check check = known_before(notes, k);
        enum clock_verdict verdict = clock_judge(&check, interval);
        int64_t error = note->until - note->time;
        bool is_doubted = verdict == CLOCK_WRONG_ZONE || verdict == CLOCK_SUSPECT || llabs(error) >= CLOCK_SLIP;
        if (is_doubted && llabs(error) >= CLOCK_ROUNDED)
            (*ret)[count++] = (struct clock_doubt){
                .time = note->time, .error = error, .is_zone = verdict == CLOCK_WRONG_ZONE, .is_used = is_usable(note)};
    }
    return count;
}

/* The check of note k, and when the clock was last known; where it never was, a month before, and right. */
static struct clock_check known_before(const struct note *notes, size_t k)
{
    int64_t since = notes[k].time - 30 * DAY_MS, shown = since;
    for (size_t i = k; i-- > 0;) {
        if (!is_usable(&notes[i]) && notes[i].kind != NOTE_IN_WATER)
            continue;
        since = notes[i].time;
        shown = is_usable(&notes[i]) ? notes[i].until : since;
        break;
    }
    return (struct clock_check){shown, since, notes[k].until, notes[k].time};
}

/* Of two that contradict, as a check before and a check after the clock was set back, the later counts from where the
 * logger passed the earlier. */
static size_t find_anchors(size_t note_count, const struct note *notes, int64_t interval, struct clock_anchor *ret)
{
    size_t count = 0;
    for (size_t k = 0; k < note_count; k++) {
        const struct note *note = &notes[k];
        if (is_usable(note))
            ret[count++] =
                (struct clock_anchor){note->until, matters(note, interval) ? note->time : note->until, false};
        else if (note->kind == NOTE_IN_WATER && !is_checked_near(note_count, notes, note->time))
            ret[count++] = (struct clock_anchor){note->time, note->time, true};
    }
    return count;
}

static bool is_checked_near(size_t note_count, const struct note *notes, int64_t time)
{
    for (size_t k = 0; k < note_count; k++)
        if (is_usable(&notes[k]) && llabs(notes[k].time - time) <= SET_WITHIN)
            return true;
    return false;
}

static bool is_usable(const struct note *note)
{
    return note->kind == NOTE_CLOCK && note->until != INT64_MIN && llabs(note->until - note->time) < CLOCK_SLIP;
}

static bool matters(const struct note *check, int64_t interval)
{
    int64_t error = llabs(check->until - check->time);
    return error > 30000 || error > interval / 20;
}

static int64_t true_time(const struct clock_anchor *anchors, size_t count, size_t *at, int64_t raw)
{
    while (*at < count && anchors[*at].shown <= raw)
        ++*at;
    if (*at == 0)
        return raw - (anchors[0].shown - anchors[0].true_time);
    const struct clock_anchor *left = &anchors[*at - 1];
    if (*at == count || anchors[*at].is_setting)
        return raw - (left->shown - left->true_time);
    const struct clock_anchor *right = &anchors[*at];
    struct clock_check check = {left->shown, left->true_time, right->shown, right->true_time};
    return clock_true_time(&check, raw);
}
