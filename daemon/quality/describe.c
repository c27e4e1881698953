/* SPDX-License-Identifier: MIT */
#include "quality/describe.h"

#include "base/timestamp.h"

#include <math.h>
#include <string.h>

struct sentence {
    struct text *text;
    enum quantity quantity;
    size_t start;
};

static void begin(const struct sentence *s, const char *test);
static void add_value(const struct sentence *s, double value);
static void add_pair(const struct sentence *s, const char *test, const char *words, double suspect, double fail);
static void add_range(const struct sentence *s, const struct quality_limits *limits);
static void add_band(const struct sentence *s, double least, double most);
static void add_flat(const struct sentence *s, const struct quality_limits *limits);
static void add_months(const struct sentence *s, const struct climatology *months);
static void add_attenuated(const struct sentence *s, const struct attenuation *limits);
static void add_related(const struct sentence *s, const struct companion *limits);
static void add_unit(const struct sentence *s);

QUALITY_LIMITS_ARE(14);
void quality_describe(enum quantity quantity, const struct quality_limits *limits, struct text *ret)
{
    const struct sentence s = {ret, quantity, ret->length};
    add_range(&s, limits);
    add_months(&s, limits->months);
    add_pair(&s, "spike", "above", limits->spike_suspect, limits->spike_fail);
    if (limits->rate > 0) {
        begin(&s, "rate_of_change suspect above ");
        add_value(&s, limits->rate);
        text_puts(ret, "/h");
    }
    add_flat(&s, limits);
    add_attenuated(&s, limits->attenuated);
    add_related(&s, limits->related);
    if (!limits->neighbour)
        return;
    add_pair(&s, "neighbour", "more apart than", limits->neighbour->suspect, limits->neighbour->fail);
    text_printf(ret, ", held against '%s'", limits->neighbour->station);
}

static void begin(const struct sentence *s, const char *test)
{
    text_printf(s->text, "%s%s", s->text->length > s->start ? "; " : "", test);
}

static void add_value(const struct sentence *s, double value)
{
    text_printf(s->text, "%.10g", quantity_to_written(s->quantity, value));
    add_unit(s);
}

static void add_unit(const struct sentence *s)
{
    const char *unit = quantity_info(s->quantity)->unit;
    if (strcmp(unit, "1") != 0)
        text_printf(s->text, " %s", unit);
}

static void add_pair(const struct sentence *s, const char *test, const char *words, double suspect, double fail)
{
    if (!(suspect > 0) && !(fail > 0))
        return;
    begin(s, test);
    if (suspect > 0) {
        text_printf(s->text, " suspect %s ", words);
        add_value(s, suspect);
    }
    if (fail > 0) {
        text_printf(s->text, "%s fails %s ", suspect > 0 ? "," : "", words);
        add_value(s, fail);
    }
}

static void add_range(const struct sentence *s, const struct quality_limits *limits)
{
    bool has_sensor = isfinite(limits->sensor_min) || isfinite(limits->sensor_max);
    bool has_usual = isfinite(limits->usual_min) || isfinite(limits->usual_max);
    if (!has_sensor && !has_usual)
        return;
    begin(s, "gross_range");
    if (has_sensor) {
        text_puts(s->text, " fails outside ");
        add_band(s, limits->sensor_min, limits->sensor_max);
    }
    if (has_usual) {
        text_puts(s->text, has_sensor ? ", suspect outside " : " suspect outside ");
        add_band(s, limits->usual_min, limits->usual_max);
    }
}

/* "-0.5..30 mg/L"; an open end is left empty. */
static void add_band(const struct sentence *s, double least, double most)
{
    if (isfinite(least))
        text_printf(s->text, "%.10g", quantity_to_written(s->quantity, least));
    text_puts(s->text, "..");
    if (isfinite(most))
        text_printf(s->text, "%.10g", quantity_to_written(s->quantity, most));
    add_unit(s);
}

static void add_flat(const struct sentence *s, const struct quality_limits *limits)
{
    char duration[TIMESTAMP_SIZE];
    if (limits->flat_suspect <= 0 && limits->flat_fail <= 0)
        return;
    begin(s, "flat_line within ");
    add_value(s, isnan(limits->flat_tolerance) ? 0 : limits->flat_tolerance);
    if (limits->flat_suspect > 0)
        text_printf(s->text, " suspect after %s", duration_print(limits->flat_suspect, duration));
    if (limits->flat_fail > 0)
        text_printf(s->text, "%s fails after %s", limits->flat_suspect > 0 ? "," : "",
                    duration_print(limits->flat_fail, duration));
}

static void add_months(const struct sentence *s, const struct climatology *months)
{
    static const char *const names[] = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                        "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
    if (!months)
        return;
    begin(s, "climatology suspect outside");
    bool is_first = true;
    for (size_t i = 0; i < 12; i++) {
        if (isinf(months->range[i][0]) && isinf(months->range[i][1]))
            continue;
        text_printf(s->text, "%s %s ", is_first ? "" : ",", names[i]);
        add_band(s, months->range[i][0], months->range[i][1]);
        is_first = false;
    }
}

static void add_attenuated(const struct sentence *s, const struct attenuation *limits)
{
    char duration[TIMESTAMP_SIZE];
    if (!limits)
        return;
    add_pair(s, "attenuated_signal", "below", limits->suspect, limits->fail);
    text_printf(s->text, " of variation in %s", duration_print(limits->window, duration));
}

static void add_related(const struct sentence *s, const struct companion *limits)
{
    char duration[TIMESTAMP_SIZE];
    if (!limits)
        return;
    const struct quantity_info *other = quantity_info(limits->quantity);
    add_pair(s, "related_quantity", "more apart than", limits->suspect, limits->fail);
    if (limits->suspect > 0 || limits->fail > 0)
        text_printf(s->text, " from %s", other->key);
    if (!(limits->rate > 0))
        return;
    begin(s, "related_quantity suspect above ");
    add_value(s, limits->rate);
    text_printf(s->text, "/h while %s moved no more than %.10g %s in %s", other->key,
                quantity_to_written(limits->quantity, limits->steady), other->unit,
                duration_print(limits->window, duration));
}
