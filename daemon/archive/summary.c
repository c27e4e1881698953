/* SPDX-License-Identifier: MIT */
#include "archive/summary.h"

#include "base/timestamp.h"

#include <assert.h>
#include <inttypes.h>
#include <math.h>
#include <string.h>

static void add_count(struct text *text, size_t count, const char *word, const char *between);

/* Counted in variables of its own: bytes of flags could be those of a struct in memory, for all the compiler knows. */
struct summary summarize(const struct record *record, enum quantity quantity)
{
    const double *value = record->value[quantity];
    const uint8_t *flag = record->flag[quantity];
    size_t usable = 0, suspect = 0, failed = 0, missing = 0, least = 0, most = 0, last = 0;
    double min = NAN, max = NAN;
    for (size_t i = 0; value && i < record->n; i++) {
        bool is_missing = isnan(value[i]), is_failed = flag[i] == FLAG_FAIL;
        suspect += flag[i] == FLAG_SUSPECT;
        failed += is_failed;
        missing += is_missing;
        if (is_missing || is_failed)
            continue;
        if (!(value[i] >= min)) {
            min = value[i];
            least = i;
        }
        if (!(value[i] <= max)) {
            max = value[i];
            most = i;
        }
        last = i;
        usable++;
    }
    struct summary s = {
        .min = NAN, .max = NAN, .last = NAN, .min_time = TIME_NONE, .max_time = TIME_NONE, .last_time = TIME_NONE};
    if (usable > 0)
        s = (struct summary){.min = min,
                             .max = max,
                             .last = value[last],
                             .min_time = record->time[least],
                             .max_time = record->time[most],
                             .last_time = record->time[last]};
    s.usable = usable;
    s.suspect = suspect;
    s.failed = failed;
    s.missing = missing;
    return s;
}

void summarize_all(const struct record *record, struct summary ret[QUANTITY_COUNT])
{
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        ret[q] = summarize(record, q);
}

struct summary summary_of(const struct dataset *dataset, enum quantity quantity)
{
    return dataset->summaries ? dataset->summaries[quantity] : summarize(&dataset->record, quantity);
}

bool summary_has_usable(const struct dataset *dataset, enum quantity quantity)
{
    if (dataset->summaries)
        return dataset->summaries[quantity].usable > 0;
    const struct record *record = &dataset->record;
    const double *value = record->value[quantity];
    size_t i = 0;
    while (value && i < record->n && (isnan(value[i]) || record->flag[quantity][i] == FLAG_FAIL))
        i++;
    return value && i < record->n;
}

const char *summary_unit(enum quantity quantity)
{
    const char *unit = quantity_info(quantity)->unit;
    return strcmp(unit, "1") == 0 ? "" : unit;
}

void summary_add_number(struct text *text, enum quantity quantity, double inside)
{
    double written = quantity_to_written(quantity, inside);
    int decimals = quantity_info(quantity)->shown_decimals;
    if (!isfinite(written)) {
        text_puts(text, "\u2013");
        return;
    }
    size_t before = text->length;
    text_number(text, written, decimals);
    if (text->is_full || text->bytes[before] != '-')
        return;
    text->length = before; /* a real minus is as wide as a plus, so columns stay straight */
    text_puts(text, "\u2212");
    text_number(text, -written, decimals);
}

void summary_add_value(struct text *text, enum quantity quantity, double inside)
{
    summary_add_number(text, quantity, inside);
    if (isfinite(inside) && *summary_unit(quantity)) {
        text_puts(text, "\u00a0");
        text_puts(text, summary_unit(quantity));
    }
}

void summary_add_difference(struct text *text, enum quantity quantity, double inside)
{
    bool is_height = quantity == QUANTITY_LEVEL || quantity == QUANTITY_DEPTH;
    double written = is_height ? inside * 1000 : quantity_to_written(quantity, inside);
    int decimals = is_height ? 0 : quantity_info(quantity)->shown_decimals;
    if (!isfinite(written)) {
        text_puts(text, "\u2013");
        return;
    }
    double half = 0.5;
    for (int k = 0; k < decimals; k++)
        half /= 10;
    if (fabs(written) >= half)
        text_puts(text, written < 0 ? "\u2212" : "+");
    text_number(text, fabs(written), decimals);
    text_puts(text, is_height ? "\u00a0mm" : "");
}

void summary_add_sentence(struct text *text, const struct summary *summary, enum quantity quantity)
{
    if (summary->usable == 0)
        return;
    text_puts(text, quantity_info(quantity)->title);
    text_puts(text, ": ");
    summary_add_number(text, quantity, summary->min);
    text_puts(text, " to ");
    summary_add_value(text, quantity, summary->max);
    text_puts(text, ", last ");
    summary_add_value(text, quantity, summary->last);
    const char *between = "; ";
    add_count(text, summary->suspect, "suspect", between);
    between = summary->suspect ? ", " : between;
    add_count(text, summary->failed, "failed", between);
    between = summary->failed ? ", " : between;
    add_count(text, summary->missing, "missing", between);
    text_putc(text, '.');
}

static void add_count(struct text *text, size_t count, const char *word, const char *between)
{
    if (count > 0)
        text_printf(text, "%s%zu %s", between, count, word);
}

const char *summary_month_name(int month)
{
    static const char *const names[] = {"January", "February", "March",     "April",   "May",      "June",
                                        "July",    "August",   "September", "October", "November", "December"};
    assert(month >= 1 && month <= 12);
    return names[month - 1];
}

void summary_add_month(struct text *text, int year, int month)
{
    text_printf(text, "%s %d", summary_month_name(month), year);
}
