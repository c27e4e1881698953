/* SPDX-License-Identifier: MIT */
#include "derive/clock_watch.h"

#include "base/timestamp.h"
#include "derive/pair.h"
#include "science/lag.h"
#include "science/statistics.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define SURE 10.0 /* standard errors: what is called sure, not likely */
enum { STEPS_LOOKED_AT = 99, MOST_MOVES = 128, LEAST_MOVES = 2 };

/* Water and air at equal steps; NaN where no row lies, or the logger hung in air. */
struct steps {
    int64_t step;
    size_t n;
    double *water, *air;
    const struct watched_barometer *barometer; /* of most rows; NULL none */
};

/* Noted moves that the pressure shows once, or shows where they were noted. */
struct moves {
    double offset[MOST_MOVES]; /* seen less noted [ms] */
    size_t count;
    int64_t first;
};

static void watch_air(struct arena *arena, const struct clock_watch_input *input, int64_t mark,
                      struct findings *findings);
static int64_t beginning(const struct clock_watch_input *input, int64_t mark);
static bool take_steps(struct arena *arena, const struct clock_watch_input *input, struct span window,
                       struct steps *ret);
static int64_t step_of(const struct record *record, size_t first, size_t last);
static void average_rows(const struct record *record, size_t first, size_t last, int64_t from, struct steps *ret);
static bool is_usable(const struct record *record, size_t i);
static const struct watched_barometer *usual_barometer(const struct clock_watch_input *input, size_t first,
                                                       size_t last);
static void tell_lag(struct arena *arena, int64_t mark, const struct steps *steps, const struct lag_result *lag,
                     struct findings *findings);
static void watch_moves(struct arena *arena, const struct clock_watch_input *input, int64_t mark,
                        struct findings *findings);
static void gather_moves(const struct clock_watch_input *input, int64_t mark, struct moves *ret);
static bool find_move(const struct record *record, const struct note *note, double *ret_offset);
static bool steps_at(const struct record *record, size_t i, enum note_kind kind, int64_t *ret_time);
static int64_t tolerance_at(const struct record *record, int64_t time);
static void tell_moves(struct arena *arena, int64_t mark, const struct moves *moves, double offset, size_t agree,
                       struct findings *findings);
static char *lag_print(int64_t lag, char ret[TIMESTAMP_SIZE]);

void clock_watch_find(struct arena *arena, const struct clock_watch_input *input, struct findings *findings)
{
    const struct record *record = input->record;
    if (record->n == 0 || !record->value[QUANTITY_WATER_PRESSURE] || !record->value[QUANTITY_AIR_PRESSURE])
        return;
    for (int64_t mark = pair_week(input->marks.from + PAIR_WEEK - 1); mark < input->marks.to; mark += PAIR_WEEK) {
        watch_air(arena, input, mark, findings);
        watch_moves(arena, input, mark, findings);
    }
}

/* ---- by the air ---- */

static void watch_air(struct arena *arena, const struct clock_watch_input *input, int64_t mark,
                      struct findings *findings)
{
    struct steps steps;
    struct lag_result lag;
    if (!take_steps(arena, input, (struct span){beginning(input, mark), mark}, &steps))
        return;
    int reach = (int)(CLOCK_WATCH_LARGEST / steps.step);
    double *room = arena_array(arena, steps.n, LAG_ROOM * sizeof *room);
    if (lag_find(steps.n, steps.water, steps.air, reach, room, &lag) != LAG_SEARCHED || !lag_is_sure(&lag))
        return;
    double weather = steps.barometer ? steps.barometer->distance / WEATHER_SPEED * 1000 : 0; /* ms */
    if (fabs((double)lag.best.lag * (double)steps.step) > weather)
        tell_lag(arena, mark, &steps, &lag, findings);
}

static int64_t beginning(const struct clock_watch_input *input, int64_t mark)
{
    int64_t from = mark - CLOCK_WATCH_REACH;
    for (size_t k = 0; k < input->note_count && input->notes[k].time < mark; k++)
        if (input->notes[k].kind != NOTE_OUT_OF_WATER && input->notes[k].time > from)
            from = input->notes[k].time;
    return from;
}

static bool take_steps(struct arena *arena, const struct clock_watch_input *input, struct span window,
                       struct steps *ret)
{
    const struct record *record = input->record;
    size_t first = record_at_or_after(record, window.from), last = record_at_or_after(record, window.to);
    if (last - first < LAG_LEAST_PAIRS)
        return false;
    *ret = (struct steps){.step = step_of(record, first, last)};
    if (ret->step == 0)
        return false;
    ret->n = (size_t)((window.to - window.from) / ret->step) + 1;
    ret->water = arena_array(arena, ret->n, sizeof *ret->water);
    ret->air = arena_array(arena, ret->n, sizeof *ret->air);
    ret->barometer = usual_barometer(input, first, last);
    average_rows(record, first, last, window.from, ret);
    return true;
}

/* Each step holds a whole number of rows where it can; 0 for loggers that write too seldom. */
static int64_t step_of(const struct record *record, size_t first, size_t last)
{
    static const int64_t steps[] = {15 * MINUTE_MS, 30 * MINUTE_MS, 60 * MINUTE_MS};
    double between[STEPS_LOOKED_AT];
    size_t n = 0;
    for (size_t i = first + 1; i < last && n < STEPS_LOOKED_AT; i++)
        between[n++] = (double)(record->time[i] - record->time[i - 1]);
    /* To the second: a clock that was corrected leaves uneven milliseconds. */
    int64_t interval = llround(statistics_median(n, between) / SECOND_MS) * SECOND_MS;
    for (size_t k = 0; interval > 0 && k < COUNT_OF(steps); k++)
        if (steps[k] % interval == 0 || (steps[k] == HOUR_MS && interval <= HOUR_MS))
            return steps[k];
    return 0;
}

static void average_rows(const struct record *record, size_t first, size_t last, int64_t from, struct steps *ret)
{
    const double *water = record->value[QUANTITY_WATER_PRESSURE], *air = record->value[QUANTITY_AIR_PRESSURE];
    size_t i = first;
    for (size_t k = 0; k < ret->n; k++) {
        int64_t end = from + (int64_t)(k + 1) * ret->step - ret->step / 2;
        double water_sum = 0, air_sum = 0, count = 0;
        for (; i < last && record->time[i] < end; i++) {
            if (!is_usable(record, i))
                continue;
            water_sum += water[i];
            air_sum += air[i];
            count++;
        }
        ret->water[k] = count > 0 ? water_sum / count : NAN;
        ret->air[k] = count > 0 ? air_sum / count : NAN;
    }
}

/* A row in air is the air itself, but steps into it and out of it are not. */
static bool is_usable(const struct record *record, size_t i)
{
    bool is_number = !isnan(record->value[QUANTITY_WATER_PRESSURE][i] + record->value[QUANTITY_AIR_PRESSURE][i]);
    bool is_wet = !record->tests[QUANTITY_DEPTH] || !(record->tests[QUANTITY_DEPTH][i] & TEST_IN_AIR);
    return is_number && is_wet && record->flag[QUANTITY_WATER_PRESSURE][i] != FLAG_FAIL;
}

static const struct watched_barometer *usual_barometer(const struct clock_watch_input *input, size_t first, size_t last)
{
    const struct watched_barometer *usual = NULL;
    size_t most = 0;
    for (size_t k = 0; k < input->barometer_count; k++) {
        size_t rows = 0;
        for (size_t i = first; i < last; i++)
            rows += input->record->barometer[i] == input->barometers[k].number;
        if (rows > most) {
            most = rows;
            usual = &input->barometers[k];
        }
    }
    return usual;
}

static void tell_lag(struct arena *arena, int64_t mark, const struct steps *steps, const struct lag_result *lag,
                     struct findings *findings)
{
    char by[TIMESTAMP_SIZE], step[TIMESTAMP_SIZE];
    int64_t time = lag->best.lag * steps->step;
    lag_print(time, by);
    const char *id = steps->barometer ? steps->barometer->id : "-";
    const char *text = arena_printf(
        arena,
        "in the days before, the pressure in the water follows the air at '%s' best %s %s than stamped (%s: "
        "correlation %.2f there, %.2f as stamped, %zu independent samples of %s, %.0f standard errors): the logger's "
        "clock stands %s %s the barometer's, or the zone of a layout is wrong by that; nothing was moved. At the next "
        "visit hold both clocks against true time and note a clock check; at the desk look at the zones of both "
        "layouts",
        id, by, time > 0 ? "later" : "earlier", lag->best.sureness < SURE ? "likely" : "sure", lag->best.correlation,
        lag->as_given.correlation, lag->best.pairs, duration_print(steps->step, step), lag->best.sureness, by,
        time > 0 ? "ahead of" : "behind");
    findings_add(findings, arena,
                 &(struct finding){.kind = FINDING_CLOCK_LAG,
                                   .span = findings_moment(mark),
                                   .quantity = QUANTITY_COUNT,
                                   .value = (double)time,
                                   .uncertainty = (double)steps->step / 2,
                                   .wants_hand = true,
                                   .text = text});
}

/* ---- by the notes ---- */

static void watch_moves(struct arena *arena, const struct clock_watch_input *input, int64_t mark,
                        struct findings *findings)
{
    struct moves moves = {.count = 0};
    gather_moves(input, mark, &moves);
    if (moves.count < LEAST_MOVES)
        return;
    double sorted[MOST_MOVES];
    for (size_t k = 0; k < moves.count; k++)
        sorted[k] = moves.offset[k];
    double offset = statistics_median(moves.count, sorted);
    double tolerance = (double)tolerance_at(input->record, mark);
    size_t agree = 0;
    for (size_t k = 0; k < moves.count; k++)
        agree += fabs(moves.offset[k] - offset) <= tolerance;
    if (fabs(offset) > 2 * tolerance && agree >= LEAST_MOVES && 4 * agree >= 3 * moves.count)
        tell_moves(arena, mark, &moves, offset, agree, findings);
}

/* Of those whose surroundings are known by the mark, since the logger was exchanged or its clock looked at; none where
 * the last week had no move. */
static void gather_moves(const struct clock_watch_input *input, int64_t mark, struct moves *ret)
{
    int64_t end = mark - CLOCK_WATCH_LARGEST - HOUR_MS, from = end - CLOCK_WATCH_MOVES, newest = INT64_MIN;
    for (size_t k = 0; k < input->note_count && input->notes[k].time < end; k++) {
        const struct note *note = &input->notes[k];
        bool begins_anew = note->kind == NOTE_INSTRUMENT || note->kind == NOTE_CLOCK;
        if (begins_anew || note->time < from) {
            ret->count = begins_anew ? 0 : ret->count;
            continue;
        }
        newest = note->time;
        double offset;
        if (ret->count == MOST_MOVES || !find_move(input->record, note, &offset))
            continue;
        ret->first = ret->count == 0 ? note->time : ret->first;
        ret->offset[ret->count++] = offset;
    }
    if (newest < end - PAIR_WEEK)
        ret->count = 0;
}

/* A step at the noted time settles it; else one alone, as far as a clock can be wrong. */
static bool find_move(const struct record *record, const struct note *note, double *ret_offset)
{
    size_t i = record_at_or_after(record, note->time - CLOCK_WATCH_LARGEST), seen = 0;
    int64_t tolerance = tolerance_at(record, note->time), at;
    for (i = i > 2 ? i : 2; i < record->n && record->time[i] <= note->time + CLOCK_WATCH_LARGEST; i++) {
        if (!steps_at(record, i, note->kind, &at))
            continue;
        *ret_offset = (double)(at - note->time);
        if (llabs(at - note->time) <= tolerance)
            return true;
        seen++;
    }
    return seen == 1;
}

/* At row i the logger is out (in) for the first time; half way counts as neither. */
static bool steps_at(const struct record *record, size_t i, enum note_kind kind, int64_t *ret_time)
{
    double gauge[3];
    for (size_t k = 0; k < 3; k++)
        gauge[k] = record->value[QUANTITY_WATER_PRESSURE][i - 2 + k] - record->value[QUANTITY_AIR_PRESSURE][i - 2 + k];
    bool goes_out = kind == NOTE_OUT_OF_WATER;
    bool is_there = goes_out ? fabs(gauge[2]) <= DRY_GAUGE : gauge[2] >= WET_GAUGE;
    bool came_now = goes_out ? gauge[1] >= WET_GAUGE : fabs(gauge[1]) <= DRY_GAUGE;
    bool came_half = (goes_out ? gauge[0] >= WET_GAUGE : fabs(gauge[0]) <= DRY_GAUGE) && fabs(gauge[1]) > DRY_GAUGE &&
                     gauge[1] < WET_GAUGE;
    size_t before = came_now ? i - 1 : i - 2;
    *ret_time = record->time[before] + (record->time[i] - record->time[before]) / 2;
    return is_there && (came_now || came_half) && record->time[i] - record->time[before] <= HOUR_MS;
}

/* Noted times are rounded, and rows lie an interval apart. */
static int64_t tolerance_at(const struct record *record, int64_t time)
{
    const int64_t rounding = 5 * MINUTE_MS;
    size_t i = record_at_or_after(record, time);
    i = i < 1 ? 1 : i >= record->n ? record->n - 1 : i;
    int64_t interval = record->n > 1 ? record->time[i] - record->time[i - 1] : 0;
    return rounding + (interval < HOUR_MS ? interval : HOUR_MS);
}

static void tell_moves(struct arena *arena, int64_t mark, const struct moves *moves, double offset, size_t agree,
                       struct findings *findings)
{
    char by[TIMESTAMP_SIZE], since[TIMESTAMP_SIZE];
    const int64_t grain = 5 * MINUTE_MS; /* rows and noted times know no more */
    int64_t time = llround(offset / (double)grain) * grain;
    const char *text = arena_printf(
        arena,
        "since %s the pressure shows the logger going in and out of the water %s %s than noted (%zu of %zu moves "
        "agree): "
        "its clock or the zone of its layout is wrong by that, or the notes keep another; nothing was moved. At the "
        "next visit hold the logger's clock against true time and note a clock check",
        timestamp_print(moves->first, since), lag_print(time, by), time > 0 ? "later" : "earlier", agree, moves->count);
    findings_add(findings, arena,
                 &(struct finding){.kind = FINDING_MOVES_LAG,
                                   .span = findings_moment(mark),
                                   .quantity = QUANTITY_COUNT,
                                   .value = (double)time,
                                   .uncertainty = NAN,
                                   .wants_hand = true,
                                   .text = text});
}

static char *lag_print(int64_t lag, char ret[TIMESTAMP_SIZE])
{
    return duration_print(llabs(lag), ret);
}
