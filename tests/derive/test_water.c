/* SPDX-License-Identifier: MIT */
#include "derive/water.h"

#include "base/memory.h"
#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS = 16 };
#define STEP (10 * MINUTE_MS)
#define START (1000 * DAY_MS)

static int64_t time[ROWS];
static uint8_t state[ROWS];
static uint32_t deployment[ROWS];

static void set_up(void)
{
    for (int i = 0; i < ROWS; i++)
        time[i] = START + i * STEP;
}

TestSuite(water, .init = set_up);

/* One letter a row: I in, S settling, ? doubted, A air. */
static const char *states(void)
{
    static char text[ROWS + 1];
    for (int i = 0; i < ROWS; i++)
        text[i] = "IS?A"[state[i]];
    return text;
}

/* One letter a row: a, b, c ... by deployment. */
static const char *deployments(void)
{
    static char text[ROWS + 1];
    for (int i = 0; i < ROWS; i++)
        text[i] = (char)('a' + deployment[i]);
    return text;
}

/* "O35 I52": out at minute 35, in at 52; R is a remark. */
static size_t notes_from(const char *text, struct note *ret)
{
    size_t n = 0;
    while (*text) {
        char *end;
        enum note_kind kind = *text == 'O' ? NOTE_OUT_OF_WATER : *text == 'I' ? NOTE_IN_WATER : NOTE_REMARK;
        ret[n++] = (struct note){.kind = kind, .time = START + strtol(text + 1, &end, 10) * MINUTE_MS};
        text = *end ? end + 1 : end;
    }
    return n;
}

struct example {
    const char *what, *notes, *states, *deployments;
    int64_t margin, settling;
};

static void expect_examples(const struct example *rows, size_t n)
{
    for (size_t k = 0; k < n; k++) {
        struct note notes[8];
        size_t count = notes_from(rows[k].notes, notes);
        water_states(ROWS, time, count, notes, rows[k].margin * MINUTE_MS, rows[k].settling * MINUTE_MS, state,
                     deployment);
        cr_expect_str_eq(states(), rows[k].states, "%s: got %s, expected %s", rows[k].what, states(), rows[k].states);
        cr_expect_str_eq(deployments(), rows[k].deployments, "%s: got %s, expected %s", rows[k].what, deployments(),
                         rows[k].deployments);
    }
}

Test(water, rows_are_in_air_from_out_to_in)
{
    const struct example rows[] = {
        {"no notes", "", "IIIIIIIIIIIIIIII", "aaaaaaaaaaaaaaaa", 0, 0},
        {"remarks say nothing", "R30 R80", "IIIIIIIIIIIIIIII", "aaaaaaaaaaaaaaaa", 0, 0},
        {"a visit", "O35 I75", "IIIIAAAAIIIIIIII", "aaaabbbbbbbbbbbb", 0, 0},
        {"at the very instant of a row", "O40 I70", "IIIIAAAIIIIIIIII", "aaaabbbbbbbbbbbb", 0, 0},
        {"before the first note, in", "I35", "AAAAIIIIIIIIIIII", "aaaaaaaaaaaaaaaa", 0, 0},
        {"before the first note, out", "O35", "IIIIAAAAAAAAAAAA", "aaaabbbbbbbbbbbb", 0, 0},
        {"two visits", "O15 I35 O95 I115", "IIAAIIIIIIAAIIII", "aabbbbbbbbcccccc", 0, 0},
        {"remarks between them", "O15 R20 I35 R40 O95 R100 I115", "IIAAIIIIIIAAIIII", "aabbbbbbbbcccccc", 0, 0},
        {"a visit between two rows", "O42 I48", "IIIIIIIIIIIIIIII", "aaaaabbbbbbbbbbb", 0, 0},
        {"notes before and after all rows", "I-90 O500", "IIIIIIIIIIIIIIII", "aaaaaaaaaaaaaaaa", 0, 0},
        {"out before all rows", "O-90", "AAAAAAAAAAAAAAAA", "bbbbbbbbbbbbbbbb", 0, 0},
        {"in after all rows", "I500", "AAAAAAAAAAAAAAAA", "aaaaaaaaaaaaaaaa", 0, 0},
    };
    expect_examples(rows, COUNT_OF(rows));
}

Test(water, one_sample_on_the_wet_side_of_a_noted_time_is_struck_too)
{
    const struct example rows[] = {
        {"a visit", "O35 I75", "IIIAAAAAAIIIIIII", "aaaabbbbbbbbbbbb", 10, 0},
        {"at the instants of rows", "O40 I70", "IIIIAAAAIIIIIIII", "aaaabbbbbbbbbbbb", 10, 0},
        {"a visit between two rows", "O42 I48", "IIIIAAIIIIIIIIII", "aaaaabbbbbbbbbbb", 10, 0},
        {"first note in", "I35", "AAAAAIIIIIIIIIII", "aaaaaaaaaaaaaaaa", 10, 0},
    };
    expect_examples(rows, COUNT_OF(rows));
}

Test(water, rows_settle_after_entering_the_water)
{
    const struct example rows[] = {
        {"a visit", "O35 I75", "IIIIAAAASSSIIIII", "aaaabbbbbbbbbbbb", 0, 30},
        {"the margin goes first", "O35 I75", "IIIAAAAAASSIIIII", "aaaabbbbbbbbbbbb", 10, 30},
        {"leaving meanwhile", "I-5 O12", "SSAAAAAAAAAAAAAA", "aabbbbbbbbbbbbbb", 0, 30},
        {"in before the first row", "I-25", "SIIIIIIIIIIIIIII", "aaaaaaaaaaaaaaaa", 0, 30},
    };
    expect_examples(rows, COUNT_OF(rows));
}

/* w: 2 m of water; 0: nothing; n: no pressure known. */
static void gauge_from(const char *text, double *ret)
{
    for (int i = 0; i < ROWS; i++)
        ret[i] = text[i] == 'w' ? 20000 : text[i] == 'n' ? NAN : 0;
}

/* s: salt water; 0: nothing conducts; n: not known. */
static void conductivity_from(const char *text, double *ret)
{
    for (int i = 0; i < ROWS; i++)
        ret[i] = text[i] == 's' ? 30 : text[i] == 'n' ? NAN : 0.001;
}

struct detection {
    const char *what, *gauge, *conductivity, *before, *states;
    int64_t settling;
};

static void expect_detections(const struct detection *rows, size_t n)
{
    for (size_t k = 0; k < n; k++) {
        double gauge[ROWS], conductivity[ROWS];
        gauge_from(rows[k].gauge, gauge);
        if (rows[k].conductivity)
            conductivity_from(rows[k].conductivity, conductivity);
        for (int i = 0; i < ROWS; i++) {
            state[i] = rows[k].before && rows[k].before[i] == 'A'   ? WATER_AIR
                       : rows[k].before && rows[k].before[i] == 'S' ? WATER_SETTLING
                                                                    : WATER_IN;
        }
        water_detect(ROWS, time, gauge, rows[k].conductivity ? conductivity : NULL, rows[k].settling * MINUTE_MS,
                     state);
        cr_expect_str_eq(states(), rows[k].states, "%s: got %s, expected %s", rows[k].what, states(), rows[k].states);
    }
}

Test(water, two_signs_make_air_and_strike_the_rows_beside_it)
{
    const struct detection rows[] = {
        {"always in water", "wwwwwwwwwwwwwwww", "ssssssssssssssss", NULL, "IIIIIIIIIIIIIIII", 0},
        {"a forgotten visit", "wwwww0000wwwwwww", "sssss0000sssssss", NULL, "IIIIAAAAAAIIIIII", 0},
        {"and settling after it", "wwwww0000wwwwwww", "sssss0000sssssss", NULL, "IIIIAAAAAASSIIII", 30},
        {"two of them", "ww00wwwwww00wwww", "ss00ssssss00ssss", NULL, "IAAAAIIIIAAAAIII", 0},
        {"from the first row on", "00wwwwwwwwwwwwww", "00ssssssssssssss", NULL, "AAAIIIIIIIIIIIII", 0},
        {"to the last row", "wwwwwwwwwwwwww00", "ssssssssssssss00", NULL, "IIIIIIIIIIIIIAAA", 0},
        {"beside a noted visit", "www0000wwwwwwwww", "sss0000sssssssss", "IIIIIAAAIIIIIIII", "IIAAAAAAIIIIIIII", 0},
        {"all of it noted", "wwwww000wwwwwwww", "sssss000ssssssss", "IIIIAAAAAIIIIIII", "IIIIAAAAAIIIIIII", 0},
    };
    expect_detections(rows, COUNT_OF(rows));
}

Test(water, one_sign_alone_makes_doubt_or_nothing)
{
    const struct detection rows[] = {
        {"no pressure but it conducts: a low tide", "wwwww0000wwwwwww", "ssssssssssssssss", NULL, "IIIIIIIIIIIIIIII",
         0},
        {"fresh water, deep", "wwwwwwwwwwwwwwww", "0000000000000000", NULL, "IIIIIIIIIIIIIIII", 0},
        {"no conductivity sensor", "wwwww0000wwwwwww", NULL, NULL, "IIIII????IIIIIII", 30},
        {"its values missing", "wwwww0000wwwwwww", "sssssnnnnsssssss", NULL, "IIIII????IIIIIII", 30},
        {"pressure not known", "wwwwwnnnnwwwwwww", "sssss0000sssssss", NULL, "IIIIIIIIIIIIIIII", 0},
        {"nothing known", "nnnnnnnnnnnnnnnn", "nnnnnnnnnnnnnnnn", NULL, "IIIIIIIIIIIIIIII", 0},
        {"what was noted stays", "000wwwww00wwwwww", NULL, "AAASSIIIAAIIIIII", "AAASSIIIAAIIIIII", 0},
    };
    expect_detections(rows, COUNT_OF(rows));
}

Test(water, no_column_of_conductivity_is_the_same_as_one_without_values)
{
    double gauge[ROWS], nothing[ROWS];
    gauge_from("ww00ww0nn0wwwwww", gauge);
    conductivity_from("nnnnnnnnnnnnnnnn", nothing);
    memset(state, WATER_IN, sizeof state);
    water_detect(ROWS, time, gauge, nothing, 0, state);
    char with[ROWS + 1];
    strcpy(with, states());
    memset(state, WATER_IN, sizeof state);
    water_detect(ROWS, time, gauge, NULL, 0, state);
    cr_expect_str_eq(states(), with);
    cr_expect_str_eq(with, "II??II?II?IIIIII");
}

/* The limits of the header: 3 cm of water, and 10 uS/cm. */
Test(water, the_limits_of_both_signs_are_where_the_header_says)
{
    const struct {
        double gauge, conductivity;
        bool is_air;
    } rows[] = {{299, 0.0099, true},  {300, 0.0099, false},  {299, 0.010, false},
                {-299, 0.0099, true}, {-300, 0.0099, false}, {0, 0, true}};
    for (size_t k = 0; k < COUNT_OF(rows); k++) {
        state[0] = WATER_IN;
        water_detect(1, time, &rows[k].gauge, &rows[k].conductivity, 0, state);
        cr_expect_eq(state[0] == WATER_AIR, rows[k].is_air, "%g Pa, %g mS/cm", rows[k].gauge, rows[k].conductivity);
    }
}

/* Rows of 30 minutes, so that row 12 is the first that looks back over six hours. */
static const char *wet_rows(const char *gauge, const char *conductivity, const char *noted)
{
    static char text[ROWS + 1];
    int64_t half_hours[ROWS];
    double pressure[ROWS], conducts[ROWS];
    uint8_t is_wet[ROWS];
    for (int i = 0; i < ROWS; i++) {
        half_hours[i] = START + i * 30 * MINUTE_MS;
        pressure[i] = gauge[i] == 'w' ? 20000 : gauge[i] == 'l' ? 2000 : gauge[i] == 'n' ? NAN : 0;
        state[i] = noted[i] == 'A' ? WATER_AIR : WATER_IN;
    }
    if (conductivity)
        conductivity_from(conductivity, conducts);
    water_find_wet(ROWS, half_hours, pressure, conductivity ? conducts : NULL, state, is_wet);
    for (int i = 0; i < ROWS; i++)
        text[i] = is_wet[i] ? 'x' : '.';
    return text;
}

Test(water, under_water_for_hours_where_it_was_noted_in_air_is_found)
{
    const struct {
        const char *what, *gauge, *conductivity, *noted, *expected;
    } rows[] = {
        {"no note of going in", "wwwwwwwwwwwwwwww", "ssssssssssssssss", "AAAAAAAAAAAAAAAA", "............xxxx"},
        {"as noted", "wwwwwwwwwwwwwwww", "ssssssssssssssss", "IIIIIIIIIIIIIIII", "................"},
        {"in air as noted", "0000000000000000", "0000000000000000", "AAAAAAAAAAAAAAAA", "................"},
        {"in a bucket for two hours", "000wwwww00000000", "000sssss00000000", "AAAAAAAAAAAAAAAA", "................"},
        {"once out, it counts anew", "w0wwwwwwwwwwwwww", "ssssssssssssssss", "AAAAAAAAAAAAAAAA", "..............xx"},
        {"an hour's note of in", "wwwwwwwwwwwwwwww", "ssssssssssssssss", "AIAAAAAAAAAAAAAA", "..............xx"},
        {"low in an office", "llllllllllllllll", "0000000000000000", "AAAAAAAAAAAAAAAA", "................"},
        {"shallow, by both", "llllllllllllllll", "ssssssssssssssss", "AAAAAAAAAAAAAAAA", "............xxxx"},
        {"shallow, by pressure alone", "llllllllllllllll", NULL, "AAAAAAAAAAAAAAAA", "................"},
        {"deep, by pressure alone", "wwwwwwwwwwwwwwww", NULL, "AAAAAAAAAAAAAAAA", "............xxxx"},
        {"pressure not known", "nnnnnnnnnnnnnnnn", "ssssssssssssssss", "AAAAAAAAAAAAAAAA", "................"},
    };
    for (size_t k = 0; k < COUNT_OF(rows); k++)
        cr_expect_str_eq(wet_rows(rows[k].gauge, rows[k].conductivity, rows[k].noted), rows[k].expected, "%s: %s",
                         rows[k].what, wet_rows(rows[k].gauge, rows[k].conductivity, rows[k].noted));
}
