/* SPDX-License-Identifier: MIT */
#include "derive/trend.h"

#include "base/timestamp.h"
#include "science/statistics.h"

#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

enum { WEEK_DAYS = 7, LEAST_DAYS = 5, LEAST_HOURS = 18 };

/* One day of the station; NaN where it has too few hours. */
struct day {
    int64_t start;
    double range;        /* of oxygen, mg/L: from the 5th to the 95th of a hundred values */
    double night;        /* 5th of a hundred values of saturation at standard pressure, % */
    double solubility;   /* mg/L at 100 % */
    double first, apart; /* median of the first thermometer, and of the second less the first */
};

struct trend {
    double now, then, difference, sureness; /* sureness in standard errors; NaN: not enough to compare */
};

struct calendar {
    struct day *days;
    size_t count;
};

static int64_t week_of(int64_t time);
static struct calendar days_of(struct arena *arena, const struct record *record, int64_t utc_offset);
static void judge_oxygen(const struct record *record, size_t from, size_t to, double *room, struct day *day);
static void judge_twins(const struct record *record, size_t from, size_t to, double *room, struct day *day);
static size_t take(const struct record *record, enum quantity quantity, size_t from, size_t to, double *ret);
static bool is_usable(const struct record *record, enum quantity quantity, size_t i);
static struct trend compare(const struct calendar *calendar, size_t member, int64_t begin, int64_t mark);
static size_t gather(const struct calendar *calendar, size_t member, int64_t from, int64_t to,
                     double ret[WEEK_DAYS]);
static int64_t beginning(const struct trend_input *input, int64_t mark);
static double recent(const struct calendar *calendar, size_t member, int64_t mark);
static void add_check(struct check_result *list, size_t *count, enum check_kind kind, int64_t mark,
                      const struct trend *trend);
static void tell(struct arena *arena, struct findings *findings, enum finding_kind kind, int64_t mark,
                 int64_t begin, const struct trend *trend);

#define MEMBER(name) offsetof(struct day, name)

void trends_find(struct arena *arena, const struct trend_input *input, struct check_result **ret_checks,
                 size_t *ret_count, struct findings *findings)
{
    struct calendar calendar = days_of(arena, input->record, input->utc_offset);
    size_t weeks = (size_t)((input->marks.to - input->marks.from) / TREND_WEEK) + 2;
    *ret_checks = arena_array(arena, 3 * weeks, sizeof **ret_checks);
    *ret_count = 0;
    for (int64_t mark = week_of(input->marks.from + TREND_WEEK - 1); mark < input->marks.to;
         mark += TREND_WEEK) {
        int64_t begin = beginning(input, mark);
        struct trend twins = compare(&calendar, MEMBER(apart), begin, mark);
        struct trend range = compare(&calendar, MEMBER(range), begin, mark);
        struct trend night = compare(&calendar, MEMBER(night), begin, mark);
        twins.now =
            recent(&calendar, MEMBER(first), mark); /* it is told as what the first reads, and should read */
        twins.difference = -twins.difference;
        twins.then = twins.now - twins.difference;
        double share = recent(&calendar, MEMBER(solubility), mark) / 100;
        night.now *= share;
        night.then *= share;
        night.difference = fmin(0, night.difference * share);
        range.difference = range.then >= TREND_LEAST_RANGE ? fmin(0, range.difference) : 0;
        add_check(*ret_checks, ret_count, CHECK_TWINS, mark, &twins);
        add_check(*ret_checks, ret_count, CHECK_DAILY_RANGE, mark, &range);
        add_check(*ret_checks, ret_count, CHECK_NIGHT_VALUES, mark, &night);
        if (fabs(twins.difference) > TREND_TWINS)
            tell(arena, findings, FINDING_TWINS_PART, mark, begin, &twins);
        if (-range.difference > (1 - TREND_RANGE_SHARE) * range.then)
            tell(arena, findings, FINDING_RANGE_FADES, mark, begin, &range);
        if (-night.difference > TREND_NIGHT)
            tell(arena, findings, FINDING_NIGHTS_SINK, mark, begin, &night);
    }
}

static struct calendar days_of(struct arena *arena, const struct record *record, int64_t utc_offset)
{
    if (record->n == 0)
        return (struct calendar){0};
    int64_t first = timestamp_floor(record->time[0] + utc_offset, DAY_MS);
    int64_t last = timestamp_floor(record->time[record->n - 1] + utc_offset, DAY_MS);
    struct calendar calendar = {.count = (size_t)((last - first) / DAY_MS) + 1};
    calendar.days = arena_array(arena, calendar.count, sizeof *calendar.days);
    double *room = arena_array(arena, record->n, sizeof *room);
    for (size_t k = 0; k < calendar.count; k++) {
        int64_t start = first + (int64_t)k * DAY_MS - utc_offset;
        size_t from = record_at_or_after(record, start), to = record_at_or_after(record, start + DAY_MS);
        calendar.days[k] = (struct day){start, NAN, NAN, NAN, NAN, NAN};
        judge_oxygen(record, from, to, room, &calendar.days[k]);
        judge_twins(record, from, to, room, &calendar.days[k]);
    }
    return calendar;
}

/* Weeks of UTC begin on Mondays. */
static int64_t week_of(int64_t time)
{
    const int64_t first_monday = 4 * DAY_MS;
    return timestamp_floor(time - first_monday, TREND_WEEK) + first_monday;
}

static void judge_oxygen(const struct record *record, size_t from, size_t to, double *room, struct day *day)
{
    size_t n = take(record, QUANTITY_OXYGEN, from, to, room);
    if (n > 0)
        day->range = statistics_quantile(n, room, 0.95) - statistics_quantile(n, room, 0.05);
    n = take(record, QUANTITY_OXYGEN_SATURATION_STANDARD, from, to, room);
    if (n == 0 || isnan(day->range))
        return;
    double night = statistics_quantile(n, room, 0.05), typical = statistics_median(n, room);
    day->night = night;
    n = take(record, QUANTITY_OXYGEN, from, to, room);
    day->solubility = typical > 0 ? 100 * statistics_median(n, room) / typical : NAN;
}

static void judge_twins(const struct record *record, size_t from, size_t to, double *room, struct day *day)
{
    const double *first = record->value[QUANTITY_TEMPERATURE],
                 *second = record->value[QUANTITY_SECOND_TEMPERATURE];
    if (!first || !second || take(record, QUANTITY_SECOND_TEMPERATURE, from, to, room) == 0)
        return;
    size_t n = take(record, QUANTITY_TEMPERATURE, from, to, room);
    day->first = n > 0 ? statistics_median(n, room) : NAN;
    n = 0;
    for (size_t i = from; i < to; i++)
        if (is_usable(record, QUANTITY_TEMPERATURE, i) && is_usable(record, QUANTITY_SECOND_TEMPERATURE, i))
            room[n++] = second[i] - first[i];
    day->apart = n > 0 && !isnan(day->first) ? statistics_median(n, room) : NAN;
}

/* Usable values of the rows; none where they fill too few hours of the day. */
static size_t take(const struct record *record, enum quantity quantity, size_t from, size_t to, double *ret)
{
    size_t n = 0, hours = 0;
    int64_t hour = INT64_MIN;
    for (size_t i = from; record->value[quantity] && i < to; i++) {
        if (!is_usable(record, quantity, i))
            continue;
        int64_t now = timestamp_floor(record->time[i], HOUR_MS);
        hours += now != hour;
        hour = now;
        ret[n++] = record->value[quantity][i];
    }
    return hours >= LEAST_HOURS ? n : 0;
}

/* What a test objects to may be the very drift that is looked for: only what fails does not count. */
static bool is_usable(const struct record *record, enum quantity quantity, size_t i)
{
    return !isnan(record->value[quantity][i]) && record->flag[quantity][i] != FLAG_FAIL;
}

static struct trend compare(const struct calendar *calendar, size_t member, int64_t begin, int64_t mark)
{
    double early[WEEK_DAYS], late[WEEK_DAYS];
    struct trend trend = {NAN, NAN, NAN, NAN};
    if (mark - begin < 2 * TREND_WEEK)
        return trend;
    size_t early_count = gather(calendar, member, begin, begin + TREND_WEEK, early);
    size_t late_count = gather(calendar, member, mark - TREND_WEEK, mark, late);
    if (early_count < LEAST_DAYS || late_count < LEAST_DAYS)
        return trend;
    trend.then = statistics_median(early_count, early);
    trend.now = statistics_median(late_count, late);
    trend.difference = trend.now - trend.then;
    double a = 1.4826 * statistics_median_deviation(early_count, early);
    double b = 1.4826 * statistics_median_deviation(late_count, late);
    double error = 1.2533 * sqrt(a * a / (double)early_count + b * b / (double)late_count);
    trend.sureness = fabs(trend.difference) / fmax(error, 1e-9);
    if (trend.sureness < TREND_SURE)
        trend.difference = 0;
    return trend;
}

/* Whole days within [from, to). */
static size_t gather(const struct calendar *calendar, size_t member, int64_t from, int64_t to,
                     double ret[WEEK_DAYS])
{
    size_t n = 0;
    for (size_t k = 0; k < calendar->count; k++) {
        const struct day *day = &calendar->days[k];
        double value;
        memcpy(&value, (const char *)day + member, sizeof value);
        if (day->start >= from && day->start + DAY_MS <= to && !isnan(value) && n < WEEK_DAYS)
            ret[n++] = value;
    }
    return n;
}

static int64_t beginning(const struct trend_input *input, int64_t mark)
{
    int64_t begin = mark - TREND_REACH;
    size_t first = record_at_or_after(input->record, begin);
    if (first < input->record->n && input->record->time[first] > begin)
        begin = input->record->time[first];
    for (size_t k = 0; k < input->visit_count && input->visits[k] < mark; k++)
        begin = input->visits[k] > begin ? input->visits[k] : begin;
    return begin;
}

static double recent(const struct calendar *calendar, size_t member, int64_t mark)
{
    double late[WEEK_DAYS];
    size_t n = gather(calendar, member, mark - TREND_WEEK, mark, late);
    return n > 0 ? statistics_median(n, late) : NAN;
}

static void add_check(struct check_result *list, size_t *count, enum check_kind kind, int64_t mark,
                      const struct trend *trend)
{
    if (isnan(trend->sureness) || isnan(trend->difference))
        return;
    list[(*count)++] =
        (struct check_result){.time = mark,
                              .quantity = kind == CHECK_TWINS ? QUANTITY_TEMPERATURE : QUANTITY_OXYGEN,
                              .kind = kind,
                              .sensor = trend->now,
                              .reference = trend->then,
                              .difference = trend->difference};
}

static void tell(struct arena *arena, struct findings *findings, enum finding_kind kind, int64_t mark,
                 int64_t begin, const struct trend *trend)
{
    char since[TIMESTAMP_SIZE], sure[64];
    snprintf(sure, sizeof sure, "%s, %.0f standard errors", trend->sureness < 5 ? "likely" : "sure",
             fmin(trend->sureness, 99));
    timestamp_print(begin, since);
    const char *text = "";
    if (kind == FINDING_TWINS_PART)
        text = arena_printf(
            arena,
            "the two thermometers moved %.2f degC apart since %s (%s): at the next visit hold both and the "
            "meter into one bucket, and note a check of each",
            fabs(trend->difference), since, sure);
    else if (kind == FINDING_RANGE_FADES)
        text = arena_printf(
            arena,
            "the daily range of oxygen fell from %.2f to %.2f mg/L since %s (%s): a film on the sensor, or "
            "dark days: at the next visit read the meter before and after cleaning, and note both",
            trend->then, trend->now, since, sure);
    else if (kind == FINDING_NIGHTS_SINK)
        text = arena_printf(
            arena,
            "the night values of oxygen sank from %.2f to %.2f mg/L since %s, warmer water taken away (%s): "
            "a drifting sensor, or a creek that breathes more: at the next visit read the meter beside it "
            "before dawn or in moist air, then clean and read again",
            trend->then, trend->now, since, sure);
    findings_add(
        findings, arena,
        &(struct finding){.kind = kind,
                          .span = findings_moment(mark),
                          .quantity = kind == FINDING_TWINS_PART ? QUANTITY_TEMPERATURE : QUANTITY_OXYGEN,
                          .value = trend->difference,
                          .uncertainty = fabs(trend->difference) / trend->sureness,
                          .wants_hand = true,
                          .text = text});
}
