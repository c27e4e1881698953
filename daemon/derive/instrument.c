/* SPDX-License-Identifier: MIT */
#include "derive/instrument.h"

#include "base/timestamp.h"

#include <ctype.h>
#include <math.h>
#include <string.h>

static size_t by_notes(const struct instrument_input *input, struct instrument_period *ret);
static size_t by_files(const struct instrument_input *input, struct instrument_period *ret);
static void begin_period(struct instrument_period *list, size_t *count, int64_t from, const char *name, bool is_noted);
static const struct drop_serial *serial_of(const struct instrument_input *input, size_t row);
static bool is_change(const struct instrument_input *input, size_t row, const char *serial);
static int64_t time_of_change(const struct instrument_input *input, int64_t last, int64_t first);
static bool belongs(const struct note *note, const struct instrument_period *period);
static bool is_strange(const struct instrument_input *input, size_t row, const struct instrument_period *period,
                       struct instrument_stranger *ret);
static const char *trimmed(const char *text, size_t *ret_length);

size_t instrument_periods(struct arena *arena, const struct instrument_input *input, struct instrument_period **ret)
{
    /* A change by files takes INSTRUMENT_ROWS rows. */
    size_t most = input->note_count + (input->serial_count > 0 ? input->readings->n / INSTRUMENT_ROWS : 0) + 2;
    struct instrument_period *list = arena_array(arena, most, sizeof *list);
    size_t count = by_notes(input, list);
    if (count == 0)
        count = by_files(input, list);
    *ret = list;
    return count;
}

size_t instrument_notes(struct arena *arena, const struct instrument_input *input,
                        const struct instrument_period *period, struct note **ret)
{
    struct note *list = arena_array(arena, input->note_count + 1, sizeof *list);
    size_t count = 0;
    if (period->from != INT64_MIN)
        list[count++] = (struct note){.kind = NOTE_IN_WATER,
                                      .time = period->from,
                                      .until = TIME_NONE,
                                      .quantity = QUANTITY_COUNT,
                                      .value = NAN,
                                      .reference = NAN,
                                      .text = "",
                                      .station = ""};
    for (size_t k = 0; k < input->note_count; k++)
        if (belongs(&input->notes[k], period))
            list[count++] = input->notes[k];
    *ret = list;
    return count;
}

size_t instrument_strangers(struct arena *arena, const struct instrument_input *input, size_t period_count,
                            const struct instrument_period *periods, struct instrument_stranger **ret)
{
    const struct readings *r = input->readings;
    struct instrument_stranger *list = NULL;
    size_t count = 0, capacity = 0, at = 0;
    for (size_t i = 0; input->serial_count > 0 && i < r->n; i++) {
        while (at + 1 < period_count && r->time[i] >= periods[at].to)
            at++;
        struct instrument_stranger found;
        if (!is_strange(input, i, &periods[at], &found))
            continue;
        struct instrument_stranger *last = count > 0 ? &list[count - 1] : NULL;
        bool continues = last && strcmp(last->path, found.path) == 0 && strcmp(last->noted, found.noted) == 0 &&
                         last->place == found.place && r->time[i] - last->span.to <= FINDING_PAUSE;
        if (continues) {
            last->span.to = r->time[i] + 1;
            continue;
        }
        list = x_grow(list, count, &capacity, sizeof *list);
        list[count++] = found;
    }
    *ret = arena_array(arena, count + 1, sizeof **ret);
    if (count > 0)
        memcpy(*ret, list, count * sizeof *list);
    cleanup_free(&list);
    return count;
}

bool instrument_is_same(const char *a, const char *b)
{
    size_t length_a, length_b;
    a = trimmed(a, &length_a);
    b = trimmed(b, &length_b);
    for (size_t i = 0; length_a == length_b && i < length_a; i++)
        if (tolower((unsigned char)a[i]) != tolower((unsigned char)b[i]))
            return false;
    return length_a == length_b;
}

static size_t by_notes(const struct instrument_input *input, struct instrument_period *ret)
{
    size_t count = 0;
    for (size_t k = 0; k < input->note_count; k++) {
        const struct note *note = &input->notes[k];
        if (note->kind != NOTE_INSTRUMENT)
            continue;
        if (count == 0)
            begin_period(ret, &count, INT64_MIN, "", true);
        if (!instrument_is_same(note->text, ret[count - 1].name))
            begin_period(ret, &count, note->time, note->text, true);
    }
    return count;
}

static size_t by_files(const struct instrument_input *input, struct instrument_period *ret)
{
    const struct readings *r = input->readings;
    size_t count = 0;
    int64_t last = INT64_MIN; /* row of the instrument of the last period */
    begin_period(ret, &count, INT64_MIN, "", false);
    for (size_t i = 0; input->serial_count > 0 && i < r->n; i++) {
        const struct drop_serial *serial = serial_of(input, i);
        const char *name = ret[count - 1].name;
        if (serial && !*name) {
            ret[count - 1].name = serial->serial; /* as far as one can know, it hung there from the beginning */
            last = r->time[i];
        } else if (serial && instrument_is_same(serial->serial, name)) {
            last = r->time[i];
        } else if (serial && is_change(input, i, serial->serial)) {
            begin_period(ret, &count, time_of_change(input, last, r->time[i]), serial->serial, false);
            last = r->time[i];
        }
    }
    return count;
}

static void begin_period(struct instrument_period *list, size_t *count, int64_t from, const char *name, bool is_noted)
{
    if (*count > 0)
        list[*count - 1].to = from;
    list[(*count)++] = (struct instrument_period){from, INT64_MAX, name, is_noted};
}

/* NULL where the file of the row names none. */
static const struct drop_serial *serial_of(const struct instrument_input *input, size_t row)
{
    for (size_t k = 0; k < input->serial_count; k++)
        if (input->serials[k].drop == input->readings->drop[row])
            return &input->serials[k];
    return NULL;
}

/* Two loggers may run side by side at a change: one row of the new one does not make it. */
static bool is_change(const struct instrument_input *input, size_t row, const char *serial)
{
    for (size_t k = 1; k < INSTRUMENT_ROWS; k++) {
        const struct drop_serial *next = row + k < input->readings->n ? serial_of(input, row + k) : NULL;
        if (!next || !instrument_is_same(next->serial, serial))
            return false;
    }
    return true;
}

static int64_t time_of_change(const struct instrument_input *input, int64_t last, int64_t first)
{
    int64_t time = first;
    for (size_t k = 0; k < input->note_count; k++)
        if (input->notes[k].kind == NOTE_IN_WATER && input->notes[k].time > last && input->notes[k].time <= first)
            time = input->notes[k].time;
    return time;
}

static bool belongs(const struct note *note, const struct instrument_period *period)
{
    bool is_of_the_next = note->kind == NOTE_IN_WATER || note->kind == NOTE_INSTRUMENT || note->kind == NOTE_STANDARD;
    bool has_begun = note->time > period->from || (note->time == period->from && is_of_the_next);
    bool has_ended = note->time > period->to || (note->time == period->to && is_of_the_next);
    return has_begun && !has_ended;
}

static bool is_strange(const struct instrument_input *input, size_t row, const struct instrument_period *period,
                       struct instrument_stranger *ret)
{
    const struct drop_serial *serial = serial_of(input, row);
    int64_t time = input->readings->time[row];
    if (!serial)
        return false;
    const char *noted = period->is_noted ? period->name : "";
    bool is_here = *noted && instrument_is_same(noted, serial->serial);
    *ret = (struct instrument_stranger){{time, time + 1}, serial->serial, serial->path, noted, NULL};
    for (size_t k = 0; k < input->elsewhere_count && !is_here; k++) {
        const struct instrument_elsewhere *e = &input->elsewhere[k];
        if (time >= e->from && time < e->to && instrument_is_same(e->serial, serial->serial))
            ret->place = e->place;
    }
    return !is_here && (*noted || ret->place);
}

static const char *trimmed(const char *text, size_t *ret_length)
{
    while (isspace((unsigned char)*text))
        text++;
    *ret_length = strlen(text);
    while (*ret_length > 0 && isspace((unsigned char)text[*ret_length - 1]))
        --*ret_length;
    return text;
}
