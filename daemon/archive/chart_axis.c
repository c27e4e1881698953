/* SPDX-License-Identifier: MIT */
/* The time axis of charts. */
#include "archive/chart_panel.h"

#include "archive/chart.h"
#include "archive/summary.h"
#include "base/timestamp.h"

#include <stdio.h>
#include <string.h>

enum { MOST_LABELS = 8, DAYS_OF_A_MONTH_AT_LEAST = 27 };

static size_t month_ticks(const struct dataset *dataset, struct chart_tick *ret);
static int64_t choose_step(int64_t length);

size_t chart_ticks(const struct dataset *dataset, struct chart_tick ret[CHART_TICKS_MAX])
{
    const struct span *span = &dataset->span;
    if (span->to - span->from >= DAYS_OF_A_MONTH_AT_LEAST * DAY_MS)
        return month_ticks(dataset, ret);
    int64_t step = choose_step(span->to - span->from), offset = dataset->station->utc_offset;
    int64_t local = span->from + offset, first = local - ((local % step + step) % step);
    size_t n = 0;
    for (int64_t time = first - offset; time < span->to && n < CHART_TICKS_MAX; time += step) {
        if (time < span->from)
            continue;
        struct civil civil = timestamp_to_civil(time + offset);
        ret[n].time = time;
        bool is_midnight = civil.hour == 0 && civil.minute == 0;
        snprintf(ret[n].label, sizeof ret[n].label, is_midnight ? "%d %.3s" : "%02d:%s",
                 is_midnight ? civil.day : civil.hour,
                 is_midnight          ? summary_month_name(civil.month)
                 : civil.minute == 30 ? "30"
                                      : "00");
        n++;
    }
    return n;
}

static size_t month_ticks(const struct dataset *dataset, struct chart_tick *ret)
{
    const struct span *month = &dataset->span;
    size_t n = 0;
    for (int day = 1; month->from + (day - 1) * DAY_MS < month->to && n < CHART_TICKS_MAX; day += day == 1 ? 4 : 5) {
        ret[n].time = month->from + (day - 1) * DAY_MS;
        snprintf(ret[n++].label, sizeof ret->label, "%d", day);
    }
    return n;
}

static int64_t choose_step(int64_t length)
{
    static const int64_t steps[] = {30 * MINUTE_MS, HOUR_MS,      2 * HOUR_MS, 3 * HOUR_MS,
                                    6 * HOUR_MS,    12 * HOUR_MS, DAY_MS,      2 * DAY_MS};
    for (size_t k = 0; k < COUNT_OF(steps); k++)
        if (length / steps[k] <= MOST_LABELS)
            return steps[k];
    return 5 * DAY_MS;
}

void chart_draw_times(const struct dataset *dataset, int top, struct scene *scene)
{
    enum { LABEL_DOWN = 15 };
    struct chart_tick ticks[CHART_TICKS_MAX];
    size_t n = chart_ticks(dataset, ticks);
    scene_open_frame(scene, top, CHART_TIMES);
    for (size_t k = 0; k < n; k++)
        scene_words(scene, LOOK_DAY, chart_position(dataset, ticks[k].time), 0, LABEL_DOWN * SCENE_TENTHS,
                    ticks[k].label, NULL);
    scene_close_frame(scene);
}

void chart_add_offset(struct text *text, int64_t offset)
{
    char printed[TIMESTAMP_SIZE];
    timestamp_print_offset(0, offset, printed);
    const char *zone = printed + strlen("1970-01-01T00:00:00");
    zone = strchr(zone, '+') ? strchr(zone, '+') : strchr(zone, '-');
    text_puts(text, "UTC");
    text_puts(text, *zone == '-' ? "\u2212" : "+");
    text_puts(text, zone + 1);
}

int chart_position(const struct dataset *dataset, int64_t time)
{
    const struct span *span = &dataset->span;
    if (time <= span->from)
        return 0;
    if (time >= span->to)
        return SCENE_UNITS;
    return (int)((double)(time - span->from) / (double)(span->to - span->from) * SCENE_UNITS + 0.5);
}
