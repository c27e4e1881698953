/* SPDX-License-Identifier: MIT */
#include "model/facts.h"

#include <assert.h>
#include <ctype.h>

static const char *const note_kinds[] = {
    [NOTE_LEVEL] = "level",       [NOTE_TAPE_DOWN] = "tape_down",   [NOTE_OUT_OF_WATER] = "out_of_water",
    [NOTE_IN_WATER] = "in_water", [NOTE_CHECK] = "check",           [NOTE_CHECK_CLEANED] = "check_cleaned",
    [NOTE_STANDARD] = "standard", [NOTE_CLOCK] = "clock",           [NOTE_STRIKE] = "strike",
    [NOTE_RESTORE] = "restore",   [NOTE_INSTRUMENT] = "instrument", [NOTE_REMARK] = "remark",
    [NOTE_REVIEWED] = "reviewed", [NOTE_BATTERY] = "battery",
};
_Static_assert(sizeof note_kinds / sizeof note_kinds[0] == NOTE_KIND_COUNT, "every kind has a word");

static const char *const finding_kinds[] = {
    [FINDING_READING_SET_ASIDE] = "reading_set_aside",
    [FINDING_ZERO_IN_AIR] = "zero_in_air",
    [FINDING_AIR_PRESSURE] = "air_pressure",
    [FINDING_AIR_HANDED_OVER] = "air_pressure_handed_over",
    [FINDING_BAROMETER_DRIFTED] = "barometer_drifted",
    [FINDING_INSTRUMENT] = "instrument",
    [FINDING_STRANGE_INSTRUMENT] = "strange_instrument",
    [FINDING_TWINS_PART] = "twins_part",
    [FINDING_RANGE_FADES] = "daily_range_fades",
    [FINDING_NIGHTS_SINK] = "night_values_sink",
    [FINDING_DATUM] = "datum",
    [FINDING_RATING] = "rating",
    [FINDING_CHECKS_DISORDERED] = "checks_out_of_order",
    [FINDING_CLOCK_LAG] = "clock_lag",
    [FINDING_MOVES_LAG] = "moves_lag",
    [FINDING_CLOCK_CHECK] = "clock_check_doubted",
    [FINDING_NOTED_IN_AIR] = "noted_in_air",
};
_Static_assert(sizeof finding_kinds / sizeof finding_kinds[0] == FINDING_KIND_COUNT, "every kind has a word");
_Static_assert((FINDINGS_OF_A_MOMENT | FINDINGS_OF_A_STRETCH | FINDINGS_OF_TRENDS) == (1u << FINDING_KIND_COUNT) - 1,
               "every kind is of a moment, a stretch or a trend: else it is neither stored nor replaced");
_Static_assert((FINDINGS_OF_A_MOMENT & FINDINGS_OF_A_STRETCH) == 0 &&
                   (FINDINGS_OF_A_MOMENT & FINDINGS_OF_TRENDS) == 0 &&
                   (FINDINGS_OF_A_STRETCH & FINDINGS_OF_TRENDS) == 0,
               "and of one of them");

static const char *const record_states[] = {
    [RECORD_PROVISIONAL] = "provisional", [RECORD_PARTLY_REVIEWED] = "partly reviewed", [RECORD_REVIEWED] = "reviewed"};
_Static_assert(sizeof record_states / sizeof record_states[0] == RECORD_STATE_COUNT, "every state has a word");

static const char *const drop_states[] = {[DROP_WAITING] = "waiting",
                                          [DROP_TAKEN] = "taken",
                                          [DROP_REPEATED] = "repeated",
                                          [DROP_SET_ASIDE] = "set aside",
                                          [DROP_ELSEWHERE] = "elsewhere"};
_Static_assert(sizeof drop_states / sizeof drop_states[0] == DROP_STATE_COUNT, "every state has a word");

static const char *const alarm_states[] = {
    [ALARM_UNACKNOWLEDGED] = "unacknowledged",
    [ALARM_ACKNOWLEDGED] = "acknowledged",
    [ALARM_RETURNED_UNACKNOWLEDGED] = "returned to normal, unacknowledged",
    [ALARM_NORMAL] = "returned to normal",
    [ALARM_SHELVED] = "shelved",
    [ALARM_WITHDRAWN] = "withdrawn",
};
_Static_assert(sizeof alarm_states / sizeof alarm_states[0] == ALARM_STATE_COUNT, "every state has a word");

static const char *const priorities[] = {
    [PRIORITY_LOW] = "low", [PRIORITY_MEDIUM] = "medium", [PRIORITY_HIGH] = "high"};
_Static_assert(sizeof priorities / sizeof priorities[0] == PRIORITY_COUNT, "every priority has a word");

static const char *const notice_events[] = {
    [NOTICE_RAISED] = "raised",       [NOTICE_UPDATED] = "updated", [NOTICE_RETURNED] = "returned",
    [NOTICE_WITHDRAWN] = "withdrawn", [NOTICE_TEST] = "test",       [NOTICE_REMINDED] = "reminded",
    [NOTICE_ESCALATED] = "escalated", [NOTICE_GROUP] = "group",     [NOTICE_SUMMARY] = "summary",
    [NOTICE_DIGEST] = "digest"};
_Static_assert(sizeof notice_events / sizeof notice_events[0] == NOTICE_EVENT_COUNT, "every event has a word");

static int folded(char c);

const char *note_kind_word(enum note_kind kind)
{
    assert(kind < NOTE_KIND_COUNT);
    return note_kinds[kind];
}

enum note_kind note_kind_find(const char *word)
{
    for (enum note_kind kind = 0; kind < NOTE_KIND_COUNT; kind++) {
        const char *a = note_kinds[kind], *b = word;
        while (*a && folded(*a) == folded(*b)) {
            a++;
            b++;
        }
        if (!*a && !*b)
            return kind;
    }
    return NOTE_KIND_COUNT;
}

const char *check_kind_word(enum check_kind kind)
{
    switch (kind) {
    case CHECK_ZERO_IN_AIR: return "zero_in_air";
    case CHECK_BAROMETERS: return "barometers";
    case CHECK_TWINS: return "twins";
    case CHECK_DAILY_RANGE: return "daily_range";
    case CHECK_NIGHT_VALUES: return "night_values";
    case CHECK_LEVEL:
    case CHECK_TAPE_DOWN:
    case CHECK_AS_FOUND:
    case CHECK_CLEANED:
    case CHECK_STANDARD: break;
    }
    return note_kind_word((enum note_kind)kind);
}

const char *finding_kind_word(enum finding_kind kind)
{
    assert(kind < FINDING_KIND_COUNT);
    return finding_kinds[kind];
}

const char *record_state_word(enum record_state state)
{
    assert((unsigned)state < RECORD_STATE_COUNT);
    return record_states[state];
}

const char *drop_state_word(enum drop_state state)
{
    assert(state < DROP_STATE_COUNT);
    return drop_states[state];
}

const char *alarm_state_word(enum alarm_state state)
{
    assert(state < ALARM_STATE_COUNT);
    return alarm_states[state];
}

const char *priority_word(enum priority priority)
{
    assert(priority < PRIORITY_COUNT);
    return priorities[priority];
}

const char *notice_event_word(enum notice_event event)
{
    assert(event < NOTICE_EVENT_COUNT);
    return notice_events[event];
}

static int folded(char c)
{
    return c == '-' || c == ' ' ? '_' : tolower((unsigned char)c);
}
