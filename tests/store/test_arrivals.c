/* SPDX-License-Identifier: MIT */
#include "base/random.h"
#include "base/timestamp.h"
#include "store/state.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

static struct state state;
static uint32_t place;

static void make_state(void)
{
    state_make(&state);
    place = state_place(&state, "sallow-mouth");
    state_begin(&state);
}

static void remove_state(void)
{
    state_done(&state);
}

TestSuite(arrivals, .init = make_state, .fini = remove_state);

/* ---- names in the inbox ---- */

static struct path_fact a_path(const char *path, enum drop_state drop_state)
{
    return (struct path_fact){.path = path,
                              .size = INT64_C(5000000000),
                              .modified_ns = INT64_C(1767225600123456789),
                              .changed_ns = INT64_C(1767225600987654321),
                              .inode = UINT64_MAX - 1,
                              .device = UINT64_C(0x8000000000000001),
                              .state = drop_state,
                              .since = 1000,
                              .drop = 12,
                              .attempts = 3,
                              .settings = UINT64_C(0xFFFFFFFF00000001),
                              .message = "line 3: 'temp' has no unit"};
}

static void put_path(const struct path_fact *path)
{
    OK(&state, store_path_put(state.store, path, &state.error));
}

static void expect_path(const struct path_fact *expected)
{
    struct path_fact got;
    bool found;
    OK(&state, store_path_find(state.store, expected->path, state.arena, &got, &found, &state.error));
    cr_assert(found);
    cr_expect_str_eq(got.path, expected->path);
    cr_expect_str_eq(got.message, expected->message);
    cr_expect(got.size == expected->size && got.modified_ns == expected->modified_ns);
    cr_expect(got.changed_ns == expected->changed_ns && got.inode == expected->inode && got.device == expected->device);
    cr_expect(got.state == expected->state && got.since == expected->since && got.drop == expected->drop);
    cr_expect(got.attempts == expected->attempts && got.settings == expected->settings);
}

/* A name is bytes, not text. */
Test(arrivals, a_name_comes_back_as_it_was_also_when_it_is_no_utf_8)
{
    struct path_fact broken = a_path("crew/caf\xE9 \xFF.csv", DROP_SET_ASIDE), empty = a_path("b", DROP_WAITING);
    empty.message = "";
    put_path(&broken);
    put_path(&empty);
    expect_path(&broken);
    expect_path(&empty);
    bool found = true;
    struct path_fact got;
    OK(&state, store_path_find(state.store, "crew/caf", state.arena, &got, &found, &state.error));
    cr_expect(!found);
}

Test(arrivals, a_name_put_again_is_replaced)
{
    struct path_fact path = a_path("a", DROP_WAITING);
    put_path(&path);
    path.state = DROP_TAKEN;
    path.size = 0;
    path.drop = 0;
    put_path(&path);
    expect_path(&path);
    struct store_counts counts;
    OK(&state, store_counts(state.store, &counts, &state.error));
    cr_expect_eq(counts.waiting, 0);
}

Test(arrivals, the_unfinished_are_those_that_wait_or_were_set_aside_by_name)
{
    static const char *const names[] = {"c", "a", "d", "b"};
    static const enum drop_state states[] = {DROP_WAITING, DROP_SET_ASIDE, DROP_TAKEN, DROP_REPEATED};
    for (size_t i = 0; i < COUNT_OF(names); i++) {
        struct path_fact path = a_path(names[i], states[i]);
        put_path(&path);
    }
    struct path_fact *list;
    size_t n;
    OK(&state, store_paths_unfinished(state.store, state.arena, &list, &n, &state.error));
    cr_assert_eq(n, 2);
    cr_expect_str_eq(list[0].path, "a");
    cr_expect_str_eq(list[1].path, "c");
}

/* ---- drops ---- */

static struct drop_fact_row a_drop(int64_t number, const char *sha256, uint32_t of)
{
    return (struct drop_fact_row){.number = number,
                                  .sha256 = sha256,
                                  .path = "crew/\xFFname.csv",
                                  .original = "stations/sallow-mouth/originals/x.csv",
                                  .layout = "offload",
                                  .evidence = "name of the folder",
                                  .serial = "SN-7",
                                  .complaints = "line 3: empty\nline 4: late",
                                  .bytes = 12345,
                                  .arrived = 777,
                                  .place = of,
                                  .rows = 100,
                                  .refused = 1,
                                  .added = 90,
                                  .repeated = 5,
                                  .filled = 3,
                                  .disagreed = 2};
}

Test(arrivals, a_drop_comes_back_as_it_was)
{
    int64_t number;
    OK(&state, store_drop_next_number(state.store, &number, &state.error));
    cr_expect_eq(number, 1);
    struct drop_fact_row drop = a_drop(number, "aa", place), got;
    OK(&state, store_drop_add(state.store, &drop, &state.error));
    OK(&state, store_drop_load(state.store, number, state.arena, &got, &state.error));
    cr_expect_str_eq(got.sha256, "aa");
    cr_expect_str_eq(got.path, drop.path);
    cr_expect_str_eq(got.original, drop.original);
    cr_expect_str_eq(got.layout, "offload");
    cr_expect_str_eq(got.evidence, drop.evidence);
    cr_expect_str_eq(got.complaints, drop.complaints);
    cr_expect_str_eq(got.serial, "SN-7");
    cr_expect(got.number == 1 && got.bytes == 12345 && got.arrived == 777 && got.place == place && got.rows == 100);
    cr_expect(got.refused == 1 && got.added == 90 && got.repeated == 5 && got.filled == 3 && got.disagreed == 2);
    OK(&state, store_drop_next_number(state.store, &number, &state.error));
    cr_expect_eq(number, 2);
    OK(&state, store_drop_load(state.store, 99, state.arena, &got, &state.error));
    cr_expect(got.number == 0 && *got.sha256 == '\0', "unknown, and no error");
}

Test(arrivals, a_drop_is_known_by_its_content_once_for_each_place)
{
    struct drop_fact_row drop = a_drop(1, "aa", place), again = a_drop(2, "aa", place), elsewhere = a_drop(2, "aa", 0);
    int64_t number = 77;
    OK(&state, store_drop_find(state.store, "aa", place, &number, &state.error));
    cr_expect_eq(number, 0);
    OK(&state, store_drop_add(state.store, &drop, &state.error));
    OK(&state, store_drop_find(state.store, "aa", place, &number, &state.error));
    cr_expect_eq(number, 1);
    OK(&state, store_drop_is_of_path(state.store, "aa", drop.path, &number, &state.error));
    cr_expect_eq(number, 1);
    OK(&state, store_drop_is_of_path(state.store, "aa", "elsewhere.csv", &number, &state.error));
    cr_expect_eq(number, 0);
    OK(&state, store_drop_find(state.store, "aa", place + 1, &number, &state.error));
    cr_expect_eq(number, 0, "the path alone may say that the same bytes belong elsewhere");
    cr_expect(!store_drop_add(state.store, &again, &state.error), "the same bytes twice are one drop");
    OK(&state, store_drop_add(state.store, &elsewhere, &state.error));
}

Test(arrivals, drops_of_a_place_come_by_arrival_without_those_of_several)
{
    const struct drop_fact_row drops[] = {a_drop(1, "a", place), a_drop(2, "b", 0), a_drop(3, "c", place + 1),
                                          a_drop(4, "d", place)};
    for (size_t i = 0; i < COUNT_OF(drops); i++)
        OK(&state, store_drop_add(state.store, &drops[i], &state.error));
    struct drop_fact_row *list;
    size_t n;
    OK(&state, store_drops_of_place(state.store, place, state.arena, &list, &n, &state.error));
    cr_assert_eq(n, 2);
    cr_expect(list[0].number == 1 && list[1].number == 4);
    OK(&state, store_drops_newest(state.store, place, 1, state.arena, &list, &n, &state.error));
    cr_expect(n == 1 && list[0].number == 4);
    struct drop_fact_row got;
    OK(&state, store_drop_load(state.store, 2, state.arena, &got, &state.error));
    cr_expect_eq(got.place, 0);
}

/* ---- notes ---- */

static struct note a_note(enum note_kind kind, int64_t time)
{
    return (struct note){.drop = 1,
                         .line = 5,
                         .kind = kind,
                         .time = time,
                         .until = TIME_NONE,
                         .quantity = QUANTITY_COUNT,
                         .value = 1.234,
                         .reference = NAN,
                         .text = "by staff",
                         .station = ""};
}

static bool put_note(const struct note *note)
{
    bool changed;
    OK(&state, store_note_put(state.store, place, note, &changed, &state.error));
    return changed;
}

static struct note *load_notes(uint32_t kinds, struct span span, size_t *ret_n)
{
    struct note *list;
    OK(&state, store_notes_load(state.store, place, kinds, span, state.arena, &list, ret_n, &state.error));
    return list;
}

#define ALL_KINDS ((1u << NOTE_KIND_COUNT) - 1)

Test(arrivals, a_note_comes_back_as_it_was)
{
    struct note check = a_note(NOTE_CHECK, 1000);
    check.quantity = QUANTITY_OXYGEN;
    check.until = 2000;
    check.value = NAN;
    check.reference = 7.9;
    check.text = "";
    cr_expect(put_note(&check));
    size_t n;
    struct note *got = load_notes(ALL_KINDS, (struct span){0, 5000}, &n);
    cr_assert_eq(n, 1);
    cr_expect_neq(got->id, 0);
    cr_expect(got->drop == 1 && got->line == 5 && got->kind == NOTE_CHECK && got->time == 1000 && got->until == 2000);
    cr_expect(got->quantity == QUANTITY_OXYGEN && isnan(got->value) && got->reference == 7.9);
    cr_expect(*got->text == '\0' && *got->station == '\0');
}

Test(arrivals, the_same_note_again_changes_nothing_and_a_corrected_one_replaces_it)
{
    struct note note = a_note(NOTE_LEVEL, 1000), same = note;
    cr_expect(put_note(&note));
    same.drop = 9;
    cr_expect(!put_note(&same));
    struct note changed[] = {note, note, note, note};
    changed[0].value = 1.235;
    changed[1].reference = 2;
    changed[2].until = 2000;
    changed[3].text = "by eye";
    for (size_t i = 0; i < COUNT_OF(changed); i++) {
        cr_expect(put_note(&changed[i]), "%zu", i);
        cr_expect(!put_note(&changed[i]), "%zu", i);
    }
    size_t n;
    struct note *got = load_notes(ALL_KINDS, (struct span){0, 5000}, &n);
    cr_assert_eq(n, 1, "it is still one");
    cr_expect_str_eq(got->text, "by eye");
}

Test(arrivals, notes_of_other_kinds_times_or_quantities_stand_beside)
{
    struct note note = a_note(NOTE_CHECK, 1000);
    put_note(&note);
    note.quantity = QUANTITY_SALINITY;
    cr_expect(put_note(&note));
    note.time = 1001;
    cr_expect(put_note(&note));
    note.kind = NOTE_STANDARD;
    cr_expect(put_note(&note));
    size_t n;
    load_notes(ALL_KINDS, (struct span){0, 5000}, &n);
    cr_expect_eq(n, 4);
}

Test(arrivals, notes_of_a_span_come_by_time_and_without_its_end)
{
    uint64_t random = 1;
    struct note expected[60];
    for (size_t i = 0; i < COUNT_OF(expected); i++) {
        expected[i] = a_note((enum note_kind)random_index(&random, NOTE_KIND_COUNT), (int64_t)(i * 7 % 60) * 10);
        put_note(&expected[i]);
    }
    for (int round = 0; round < 200; round++) {
        struct span span = {random_between(&random, -5, 600), random_between(&random, -5, 600)};
        uint32_t kinds = (uint32_t)(random_bits(&random) >> 40) & ALL_KINDS;
        size_t n, wanted = 0;
        struct note *got = load_notes(kinds, span, &n);
        for (size_t i = 0; i < COUNT_OF(expected); i++)
            wanted += kinds >> expected[i].kind & 1 && expected[i].time >= span.from && expected[i].time < span.to;
        cr_assert_eq(n, wanted);
        for (size_t i = 0; i < n; i++) {
            cr_assert(kinds >> got[i].kind & 1 && got[i].time >= span.from && got[i].time < span.to);
            cr_assert(i == 0 || got[i].time > got[i - 1].time);
        }
    }
}

Test(arrivals, notes_of_one_time_come_by_kind)
{
    for (int kind = NOTE_KIND_COUNT - 1; kind >= 0; kind--) {
        struct note note = a_note((enum note_kind)kind, 1000);
        put_note(&note);
    }
    size_t n;
    struct note *got = load_notes(ALL_KINDS, (struct span){1000, 1001}, &n);
    cr_assert_eq(n, NOTE_KIND_COUNT);
    for (size_t i = 0; i < n; i++)
        cr_expect_eq(got[i].kind, (enum note_kind)i);
}

Test(arrivals, the_newest_notes_come_first_as_many_as_asked)
{
    for (int64_t time = 1; time <= 5; time++) {
        struct note note = a_note(time % 2 ? NOTE_LEVEL : NOTE_REMARK, time * 100);
        put_note(&note);
    }
    struct note *got;
    size_t n;
    OK(&state, store_notes_newest(state.store, place, 3, state.arena, &got, &n, &state.error));
    cr_assert_eq(n, 3);
    cr_expect(got[0].time == 500 && got[1].time == 400 && got[2].time == 300 && got[1].kind == NOTE_REMARK);
    OK(&state, store_notes_newest(state.store, place + 1, 3, state.arena, &got, &n, &state.error));
    cr_expect_eq(n, 0);
}

Test(arrivals, the_note_before_and_at_or_after_a_time_is_found_among_the_kinds)
{
    const struct note notes[] = {a_note(NOTE_LEVEL, 100), a_note(NOTE_TAPE_DOWN, 200), a_note(NOTE_REMARK, 300)};
    for (size_t i = 0; i < COUNT_OF(notes); i++)
        put_note(&notes[i]);
    const uint32_t levels = 1u << NOTE_LEVEL | 1u << NOTE_TAPE_DOWN;
    const struct {
        uint32_t kinds;
        int64_t time, before, after;
    } rows[] = {{levels, 50, TIME_NONE, 100},
                {levels, 100, TIME_NONE, 100},
                {levels, 101, 100, 200},
                {levels, 200, 100, 200},
                {levels, 201, 200, TIME_NONE},
                {ALL_KINDS, 201, 200, 300},
                {ALL_KINDS, TIME_FOREVER, 300, TIME_NONE},
                {ALL_KINDS, TIME_NONE, TIME_NONE, 100},
                {0, 150, TIME_NONE, TIME_NONE},
                {1u << NOTE_CLOCK, 150, TIME_NONE, TIME_NONE}};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        int64_t got;
        OK(&state, store_note_before(state.store, place, rows[i].kinds, rows[i].time, &got, &state.error));
        cr_expect_eq(got, rows[i].before, "row %zu", i);
        OK(&state, store_note_after(state.store, place, rows[i].kinds, rows[i].time, &got, &state.error));
        cr_expect_eq(got, rows[i].after, "row %zu", i);
    }
}

/* ---- instruments ---- */

static void name_instrument(uint32_t of, int64_t time, const char *name)
{
    bool is_changed;
    const struct note note = {.kind = NOTE_INSTRUMENT,
                              .time = time,
                              .until = TIME_NONE,
                              .quantity = QUANTITY_COUNT,
                              .value = NAN,
                              .reference = NAN,
                              .text = name};
    OK(&state, store_note_put(state.store, of, &note, &is_changed, &state.error));
}

Test(arrivals, an_instrument_is_noted_from_its_note_to_the_next_one_of_that_place)
{
    uint32_t other = 0;
    OK(&state, store_place_number(state.store, "alder-creek", &other, &state.error));
    name_instrument(other, 100, "SN-7");
    name_instrument(other, 200, "SN-8");
    name_instrument(other, 300, "sn-7");
    name_instrument(place, 150, "SN-7");
    struct instrument_fact *list;
    size_t n;
    OK(&state, store_instruments_noted(state.store, "SN-7", place, state.arena, &list, &n, &state.error));
    cr_assert_eq(n, 2, "not the place itself, and without regard to case");
    cr_expect_str_eq(list[0].key, "alder-creek");
    cr_expect(list[0].place == other && list[0].span.from == 100 && list[0].span.to == 200);
    cr_expect(list[1].span.from == 300 && list[1].span.to == TIME_FOREVER);
}

Test(arrivals, places_of_a_serial_number_are_found)
{
    struct drop_fact_row nameless = a_drop(3, "cc", place + 1);
    const struct drop_fact_row drops[] = {a_drop(1, "aa", place), a_drop(2, "bb", place)};
    nameless.serial = NULL;
    for (size_t k = 0; k < COUNT_OF(drops); k++)
        OK(&state, store_drop_add(state.store, &drops[k], &state.error));
    OK(&state, store_drop_add(state.store, &nameless, &state.error));
    uint32_t *places;
    size_t n;
    OK(&state, store_places_of_serial(state.store, "sn-7", state.arena, &places, &n, &state.error));
    cr_assert_eq(n, 1);
    cr_expect_eq(places[0], place);
    OK(&state, store_places_of_serial(state.store, "", state.arena, &places, &n, &state.error));
    cr_expect_eq(n, 0, "no name is no serial number");
}
