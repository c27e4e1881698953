/* SPDX-License-Identifier: MIT */
#include "service/withdraw.h"

#include "base/text.h"
#include "base/timestamp.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { DROPS_LOOKED_AT = 8, REASON_LIMIT = 2048 };

static void put_what_stands_now(const struct rule *rule, const struct alarm *alarm, const struct record *rows,
                                struct text *ret);
static void put_row(const struct rule *rule, const struct alarm *alarm, const struct record *rows, size_t row,
                    struct text *ret);
static void put_tests(uint32_t tests, struct text *ret);
static void put_value(const struct quantity_info *info, double inside, struct text *ret);
static bool is_measure(const struct rule *rule);
static bool put_latest_fact(struct pipeline *p, const struct subject *subject, const struct alarm *alarm,
                            const struct record *rows, struct text *ret, struct error *error);
static bool look_at_drops(struct pipeline *p, uint32_t place, int64_t since, struct drop_fact_row *newest,
                          struct error *error);
static uint32_t barometer_then(const struct alarm *alarm, const struct record *rows);

bool withdraw_reason(struct pipeline *p, const struct subject *subject, const struct rule *rule,
                     const struct alarm *alarm, const struct record *rows, const char **ret, struct error *error)
{
    CLEANUP(text_done) struct text text;
    text_init(&text, REASON_LIMIT);
    put_what_stands_now(rule, alarm, rows, &text);
    if (!put_latest_fact(p, subject, alarm, rows, &text, error))
        return false;
    *ret = arena_strdup(p->arena, text.bytes);
    return true;
}

static void put_what_stands_now(const struct rule *rule, const struct alarm *alarm, const struct record *rows,
                                struct text *ret)
{
    char when[TIMESTAMP_SIZE];
    if (rule->kind == RULE_DRIFT) {
        text_printf(ret, "the check of %s does not stand any more, or closes now",
                    timestamp_print(alarm->episode.worst_time, when));
        return;
    }
    if (rule->kind == RULE_GAP) {
        text_puts(ret, "data have come for the time in which there were none");
        return;
    }
    size_t row = record_at_or_after(rows, alarm->episode.worst_time);
    text_printf(ret, "%s of %s", quantity_info(rule->quantity)->key, timestamp_print(alarm->episode.worst_time, when));
    if (row == rows->n || rows->time[row] != alarm->episode.worst_time || !rows->value[rule->quantity])
        text_puts(ret, " does not stand in the record any more");
    else
        put_row(rule, alarm, rows, row, ret);
}

static void put_row(const struct rule *rule, const struct alarm *alarm, const struct record *rows, size_t row,
                    struct text *ret)
{
    const struct quantity_info *info = quantity_info(rule->quantity);
    uint8_t flag = rows->flag[rule->quantity][row];
    double value = rows->value[rule->quantity][row];
    if (is_measure(rule)) {
        text_puts(ret, ", told as ");
        put_value(info, alarm->episode.worst, ret);
        text_putc(ret, ',');
    }
    text_puts(ret, " is now ");
    if (isfinite(value))
        put_value(info, value, ret);
    else
        text_puts(ret, "missing");
    if (flag != FLAG_PASS && flag != FLAG_NOT_EVALUATED && flag != FLAG_MISSING) {
        text_printf(ret, ", flagged %s", flag_word(flag));
        put_tests(rows->tests[rule->quantity][row], ret);
    }
}

static void put_tests(uint32_t tests, struct text *ret)
{
    const uint32_t harmless = TEST_CORRECTED | TEST_ESTIMATED_SALINITY | TEST_GAP;
    bool is_first = true;
    for (unsigned bit = 0; bit < TEST_COUNT; bit++)
        if (tests & ~harmless & 1u << bit) {
            text_printf(ret, "%s%s", is_first ? " (" : ", ", test_info(bit)->meaning);
            is_first = false;
        }
    text_puts(ret, is_first ? "" : ")");
}

static void put_value(const struct quantity_info *info, double inside, struct text *ret)
{
    text_number(ret, inside * info->scale, info->decimals > 2 ? 2 : info->decimals);
    if (strcmp(info->unit, "1") != 0)
        text_printf(ret, " %s", info->unit);
}

/* Is the worst of an episode the value itself, and no change of it? */
static bool is_measure(const struct rule *rule)
{
    return rule_measure(rule->kind) == MEASURE_VALUE;
}

/* Of the files that belong to the place, to the barometer that served it then, or are notes of several stations, the
 * last one that came after we learnt of the alarm. Where none did, nothing but the settings can have changed. */
static bool put_latest_fact(struct pipeline *p, const struct subject *subject, const struct alarm *alarm,
                            const struct record *rows, struct text *ret, struct error *error)
{
    struct drop_fact_row newest = {.number = 0};
    uint32_t barometer = subject->is_barometer ? NO_BAROMETER : barometer_then(alarm, rows);
    char visible[1024], when[TIMESTAMP_SIZE];
    if (!look_at_drops(p, subject->place, alarm->learnt, &newest, error) ||
        !look_at_drops(p, 0, alarm->learnt, &newest, error) ||
        (barometer != NO_BAROMETER && !look_at_drops(p, barometer, alarm->learnt, &newest, error)))
        return false;
    if (newest.number == 0) {
        text_puts(ret, "; no file came since: the settings, or the program, were changed");
        return true;
    }
    text_make_visible(newest.path, visible, sizeof visible);
    text_printf(ret, "; what came later: the file '%s', at %s", visible,
                timestamp_print(timestamp_floor(newest.arrived, SECOND_MS), when));
    return true;
}

static bool look_at_drops(struct pipeline *p, uint32_t place, int64_t since, struct drop_fact_row *newest,
                          struct error *error)
{
    struct drop_fact_row *drops;
    size_t n;
    if (!store_drops_newest(p->store, place, DROPS_LOOKED_AT, p->arena, &drops, &n, error))
        return false;
    for (size_t k = 0; k < n; k++)
        if (drops[k].arrived > since && drops[k].number > newest->number &&
            drops[k].added + drops[k].filled + drops[k].disagreed > 0)
            *newest = drops[k];
    return true;
}

static uint32_t barometer_then(const struct alarm *alarm, const struct record *rows)
{
    size_t row = rows ? record_at_or_after(rows, alarm->episode.worst_time) : 0;
    return rows && row < rows->n && rows->barometer ? rows->barometer[row] : NO_BAROMETER;
}
