/* SPDX-License-Identifier: MIT */
#include "derive/decision.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

static int compare_written(const void *a, const void *b);
static void apply(const struct note *decision, enum quantity quantity, struct record *record);
static bool is_about(const struct note *decision, enum quantity quantity);

struct decisions decisions_find(struct arena *arena, size_t note_count, const struct note *notes)
{
    struct decisions found = {.list = arena_array(arena, note_count + 1, sizeof *found.list)};
    for (size_t k = 0; k < note_count; k++)
        if (notes[k].kind == NOTE_STRIKE || notes[k].kind == NOTE_RESTORE)
            found.list[found.count++] = &notes[k];
    qsort(found.list, found.count, sizeof *found.list, compare_written);
    return found;
}

void decisions_apply(const struct decisions *decisions, struct record *record)
{
    for (size_t k = 0; k < decisions->count; k++)
        for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
            if (record->value[q] && is_about(decisions->list[k], q))
                apply(decisions->list[k], q, record);
}

const struct note *decision_at(const struct decisions *decisions, enum quantity quantity, int64_t time)
{
    for (size_t k = decisions->count; k > 0; k--) {
        const struct note *note = decisions->list[k - 1];
        if (is_about(note, quantity) && note->time <= time && time < note->until)
            return note;
    }
    return NULL;
}

static int compare_written(const void *a, const void *b)
{
    const struct note *x = *(const struct note *const *)a, *y = *(const struct note *const *)b;
    const int64_t keys[][2] = {{x->drop, y->drop}, {x->line, y->line}, {x->time, y->time}, {x->id, y->id}};
    for (size_t k = 0; k < sizeof keys / sizeof keys[0]; k++)
        if (keys[k][0] != keys[k][1])
            return keys[k][0] < keys[k][1] ? -1 : 1;
    return 0;
}

static void apply(const struct note *decision, enum quantity quantity, struct record *record)
{
    bool strikes = decision->kind == NOTE_STRIKE;
    uint32_t *tests = record->tests[quantity];
    size_t last = record_at_or_after(record, decision->until);
    for (size_t i = record_at_or_after(record, decision->time); i < last; i++) {
        tests[i] &= ~(uint32_t)(strikes ? TEST_PERSON_RESTORED : TEST_PERSON_STRUCK);
        tests[i] |= strikes ? TEST_PERSON_STRUCK : TEST_PERSON_RESTORED;
        if (!isnan(record->value[quantity][i]))
            record->flag[quantity][i] = strikes ? FLAG_FAIL : FLAG_PASS;
    }
}

static bool is_about(const struct note *decision, enum quantity quantity)
{
    return decision->quantity == QUANTITY_COUNT || decision->quantity == quantity;
}
