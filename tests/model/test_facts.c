/* SPDX-License-Identifier: MIT */
#include "model/facts.h"

#include <criterion/criterion.h>
#include <ctype.h>
#include <string.h>

Test(facts, kinds_of_notes_are_found_by_their_words)
{
    for (enum note_kind kind = 0; kind < NOTE_KIND_COUNT; kind++) {
        const char *word = note_kind_word(kind);
        char dressed[64] = {0};
        cr_expect_eq(note_kind_find(word), kind);
        for (size_t i = 0; word[i]; i++)
            dressed[i] = word[i] == '_' ? ' ' : (char)toupper((unsigned char)word[i]);
        cr_expect_eq(note_kind_find(dressed), kind, "'%s'", dressed);
        for (char *c = strchr(dressed, ' '); c; c = strchr(dressed, ' '))
            *c = '-';
        cr_expect_eq(note_kind_find(dressed), kind, "'%s'", dressed);
    }
    cr_expect_str_eq(note_kind_word(NOTE_TAPE_DOWN), "tape_down");
}

Test(facts, what_is_no_kind_is_not_found)
{
    static const char *const wrong[] = {"", "leve", "levels", "tape__down", "tapedown", " level", "check_"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
        cr_expect_eq(note_kind_find(wrong[i]), NOTE_KIND_COUNT, "'%s'", wrong[i]);
}

static const char *word_of_note(int i)
{
    return note_kind_word((enum note_kind)i);
}
static const char *word_of_drop(int i)
{
    return drop_state_word((enum drop_state)i);
}
static const char *word_of_alarm(int i)
{
    return alarm_state_word((enum alarm_state)i);
}
static const char *word_of_priority(int i)
{
    return priority_word((enum priority)i);
}
static const char *word_of_event(int i)
{
    return notice_event_word((enum notice_event)i);
}

Test(facts, every_list_has_a_word_of_its_own_for_each_row)
{
    const struct {
        const char *(*word)(int);
        int count;
    } lists[] = {{word_of_note, NOTE_KIND_COUNT},
                 {word_of_drop, DROP_STATE_COUNT},
                 {word_of_alarm, ALARM_STATE_COUNT},
                 {word_of_priority, PRIORITY_COUNT},
                 {word_of_event, NOTICE_EVENT_COUNT}};
    for (size_t k = 0; k < sizeof lists / sizeof lists[0]; k++)
        for (int i = 0; i < lists[k].count; i++) {
            cr_assert_not_null(lists[k].word(i), "list %zu, row %d", k, i);
            cr_expect(islower((unsigned char)*lists[k].word(i)), "list %zu, row %d", k, i);
            for (int j = 0; j < i; j++)
                cr_expect_str_neq(lists[k].word(i), lists[k].word(j));
        }
}

/* They stand in the database as numbers. */
Test(facts, numbers_that_are_stored_stay)
{
    cr_expect(DROP_WAITING == 0 && DROP_TAKEN == 1 && DROP_REPEATED == 2 && DROP_SET_ASIDE == 3);
    cr_expect(ALARM_UNACKNOWLEDGED == 0 && ALARM_ACKNOWLEDGED == 1 && ALARM_RETURNED_UNACKNOWLEDGED == 2 &&
              ALARM_NORMAL == 3 && ALARM_SHELVED == 4 && ALARM_WITHDRAWN == 5);
    cr_expect(NOTE_LEVEL == 0 && NOTE_CLOCK == 7 && NOTE_REMARK == 11);
}
