/* SPDX-License-Identifier: MIT */
#include "alarms/lifecycle.h"

#include "alarms/series.h"
#include "base/file.h"
#include "base/text.h"

#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

static bool is_over(enum alarm_state state)
{
    return state == ALARM_NORMAL || state == ALARM_WITHDRAWN;
}

static enum alarm_state after(enum alarm_state state, enum alarm_event event)
{
    return lifecycle_step(state, event).next;
}

Test(lifecycle, a_new_alarm_is_announced_answered_and_over)
{
    struct step step = lifecycle_step(ALARM_NORMAL, ALARM_EVENT_RAISED);
    cr_expect(step.next == ALARM_UNACKNOWLEDGED && step.announce == NOTICE_RAISED);
    step = lifecycle_step(step.next, ALARM_EVENT_UPDATED);
    cr_expect(step.next == ALARM_UNACKNOWLEDGED && step.announce == NOTICE_UPDATED);
    step = lifecycle_step(step.next, ALARM_EVENT_ACKNOWLEDGED);
    cr_expect(step.next == ALARM_ACKNOWLEDGED && step.announce == ANNOUNCE_NOTHING);
    step = lifecycle_step(step.next, ALARM_EVENT_RETURNED);
    cr_expect(step.next == ALARM_NORMAL && step.announce == NOTICE_RETURNED);
}

Test(lifecycle, an_unanswered_return_waits_for_its_answer)
{
    struct step step = lifecycle_step(ALARM_UNACKNOWLEDGED, ALARM_EVENT_RETURNED);
    cr_expect(step.next == ALARM_RETURNED_UNACKNOWLEDGED && step.announce == NOTICE_RETURNED);
    step = lifecycle_step(step.next, ALARM_EVENT_ACKNOWLEDGED);
    cr_expect(step.next == ALARM_NORMAL && step.announce == ANNOUNCE_NOTHING);
}

Test(lifecycle, a_shelved_alarm_is_quiet_until_its_time_is_over)
{
    cr_expect(after(ALARM_UNACKNOWLEDGED, ALARM_EVENT_SHELVED) == ALARM_SHELVED);
    cr_expect(after(ALARM_ACKNOWLEDGED, ALARM_EVENT_SHELVED) == ALARM_SHELVED);
    cr_expect(lifecycle_step(ALARM_SHELVED, ALARM_EVENT_UPDATED).announce == ANNOUNCE_NOTHING);
    struct step returned = lifecycle_step(ALARM_SHELVED, ALARM_EVENT_RETURNED);
    cr_expect(returned.next == ALARM_NORMAL && returned.announce == ANNOUNCE_NOTHING);
    struct step unshelved = lifecycle_step(ALARM_SHELVED, ALARM_EVENT_UNSHELVED);
    cr_expect(unshelved.next == ALARM_UNACKNOWLEDGED && unshelved.announce == NOTICE_UPDATED);
}

Test(lifecycle, a_withdrawn_alarm_may_come_back)
{
    struct step step = lifecycle_step(ALARM_WITHDRAWN, ALARM_EVENT_RECURRED);
    cr_expect(step.next == ALARM_UNACKNOWLEDGED && step.announce == NOTICE_RAISED);
}

Test(lifecycle, only_active_alarms_can_be_shelved_or_grow_aloud)
{
    for (enum alarm_state state = 0; state < ALARM_STATE_COUNT; state++) {
        if (lifecycle_is_active(state))
            continue;
        cr_expect(after(state, ALARM_EVENT_SHELVED) == state, "%s", alarm_state_word(state));
        cr_expect(lifecycle_step(state, ALARM_EVENT_UPDATED).announce == ANNOUNCE_NOTHING, "%s",
                  alarm_state_word(state));
    }
}

/* A forgotten cell would read as "unacknowledged, announce raised". */
Test(lifecycle, every_cell_is_written_and_says_only_what_its_event_is_about)
{
    static const enum notice_event spoken[ALARM_EVENT_COUNT] = {
        [ALARM_EVENT_RAISED] = NOTICE_RAISED,       [ALARM_EVENT_UPDATED] = NOTICE_UPDATED,
        [ALARM_EVENT_RETURNED] = NOTICE_RETURNED,   [ALARM_EVENT_RECURRED] = NOTICE_RAISED,
        [ALARM_EVENT_WITHDRAWN] = NOTICE_WITHDRAWN, [ALARM_EVENT_ACKNOWLEDGED] = ANNOUNCE_NOTHING,
        [ALARM_EVENT_SHELVED] = ANNOUNCE_NOTHING,   [ALARM_EVENT_UNSHELVED] = NOTICE_UPDATED,
    };
    for (enum alarm_state state = 0; state < ALARM_STATE_COUNT; state++)
        for (enum alarm_event event = 0; event < ALARM_EVENT_COUNT; event++) {
            struct step step = lifecycle_step(state, event);
            cr_expect(step.announce == ANNOUNCE_NOTHING || step.announce == spoken[event], "%s, event %d",
                      alarm_state_word(state), (int)event);
            bool repeats = lifecycle_step(step.next, event).next != step.next;
            cr_expect(!repeats, "%s, event %d twice differs from once", alarm_state_word(state), (int)event);
        }
}

Test(lifecycle, the_same_event_twice_is_announced_at_most_once_but_for_growth)
{
    for (enum alarm_state state = 0; state < ALARM_STATE_COUNT; state++)
        for (enum alarm_event event = 0; event < ALARM_EVENT_COUNT; event++) {
            if (event == ALARM_EVENT_UPDATED)
                continue;
            struct step second = lifecycle_step(after(state, event), event);
            cr_expect(second.announce == ANNOUNCE_NOTHING, "%s, event %d", alarm_state_word(state), (int)event);
        }
}

Test(lifecycle, from_every_state_return_and_answer_lead_to_the_end_in_either_order)
{
    for (enum alarm_state state = 0; state < ALARM_STATE_COUNT; state++) {
        enum alarm_state end = state == ALARM_WITHDRAWN ? ALARM_WITHDRAWN : ALARM_NORMAL;
        cr_expect(after(after(state, ALARM_EVENT_RETURNED), ALARM_EVENT_ACKNOWLEDGED) == end);
        cr_expect(after(after(state, ALARM_EVENT_ACKNOWLEDGED), ALARM_EVENT_RETURNED) == end);
        cr_expect(after(state, ALARM_EVENT_WITHDRAWN) == ALARM_WITHDRAWN);
    }
}

/* Whatever happened before: a raise is seen or already there, and afterwards the alarm can be brought to its
 * end. */
Test(lifecycle, random_events_never_lose_or_stick_an_alarm)
{
    uint64_t random = 20260301;
    for (int round = 0; round < 20000; round++) {
        enum alarm_state state = ALARM_NORMAL;
        bool is_told = false; /* people know of it, or have answered or shelved it */
        for (int i = 0; i < 30; i++) {
            enum alarm_event event = (enum alarm_event)random_below(&random, ALARM_EVENT_COUNT);
            bool was_active = lifecycle_is_active(state);
            struct step step = lifecycle_step(state, event);
            cr_assert(was_active || !lifecycle_is_active(step.next) || step.announce == NOTICE_RAISED,
                      "became active unheard");
            cr_assert(!(event == ALARM_EVENT_RAISED || event == ALARM_EVENT_RECURRED) || lifecycle_is_active(step.next),
                      "a raise was lost");
            cr_assert(was_active || !is_told || is_over(state) || state == ALARM_RETURNED_UNACKNOWLEDGED);
            is_told = is_told || step.announce == NOTICE_RAISED;
            state = step.next;
        }
        cr_assert(is_told || !lifecycle_is_active(state), "active and nobody knows");
        if (state == ALARM_WITHDRAWN)
            state = after(state, ALARM_EVENT_RECURRED);
        state = after(after(state, ALARM_EVENT_RETURNED), ALARM_EVENT_ACKNOWLEDGED);
        cr_assert(state == ALARM_NORMAL, "stuck");
    }
}

static const char *const event_words[ALARM_EVENT_COUNT] = {
    [ALARM_EVENT_RAISED] = "raised",       [ALARM_EVENT_UPDATED] = "grew",
    [ALARM_EVENT_RETURNED] = "ended",      [ALARM_EVENT_RECURRED] = "so after all",
    [ALARM_EVENT_WITHDRAWN] = "withdrawn", [ALARM_EVENT_ACKNOWLEDGED] = "acknowledged",
    [ALARM_EVENT_SHELVED] = "shelved",     [ALARM_EVENT_UNSHELVED] = "off the shelf",
};

/* As a table of Markdown: what comes next, '.' where it stays; in bold what people are told. */
static void print_table(struct text *ret)
{
    text_puts(ret, "| state |");
    for (enum alarm_event event = 0; event < ALARM_EVENT_COUNT; event++)
        text_printf(ret, " %s |", event_words[event]);
    text_puts(ret, "\n|---|");
    for (enum alarm_event event = 0; event < ALARM_EVENT_COUNT; event++)
        text_puts(ret, "---|");
    for (enum alarm_state state = 0; state < ALARM_STATE_COUNT; state++) {
        text_printf(ret, "\n| %s |", alarm_state_word(state));
        for (enum alarm_event event = 0; event < ALARM_EVENT_COUNT; event++) {
            struct step step = lifecycle_step(state, event);
            text_printf(ret, " %s", step.next == state ? "." : alarm_state_word(step.next));
            if (step.announce != ANNOUNCE_NOTHING)
                text_printf(ret, ", **%s**", notice_event_word(step.announce));
            text_puts(ret, " |");
        }
    }
    text_putc(ret, '\n');
}

Test(lifecycle, the_table_of_the_documentation_is_that_of_the_code)
{
    struct text table;
    text_init(&table, 65536);
    print_table(&table);
    struct error error;
    char *page;
    size_t length;
    cr_assert(file_read(RILLWARD_SOURCE_ROOT "/DEVELOPERS.md", 1 << 20, &page, &length, &error), "%s", error.text);
    cr_assert(memchr(page, '\0', length) == NULL);
    cr_expect(strstr(page, table.bytes) != NULL, "DEVELOPERS.md, 'An alarm's life', expected\n%s", table.bytes);
    free(page);
    text_done(&table);
}
