/* SPDX-License-Identifier: MIT */
#include "derive/water.h"

#include <math.h>

static bool is_move(const struct note *note);

void water_states(size_t n, const int64_t *time, size_t note_count, const struct note *notes, int64_t margin,
                  int64_t settling, uint8_t *ret_state, uint32_t *ret_deployment)
{
    size_t k = 0;
    while (k < note_count && !is_move(&notes[k]))
        k++;
    const struct note *last = NULL, *next = k < note_count ? &notes[k] : NULL;
    uint32_t deployment = 0;
    for (size_t i = 0; i < n; i++) {
        while (next && next->time <= time[i]) {
            deployment += next->kind == NOTE_OUT_OF_WATER;
            last = next;
            for (k++; k < note_count && !is_move(&notes[k]);)
                k++;
            next = k < note_count ? &notes[k] : NULL;
        }
        bool in_air = last ? last->kind == NOTE_OUT_OF_WATER : next && next->kind == NOTE_IN_WATER;
        bool just_entered = last && last->kind == NOTE_IN_WATER && time[i] - last->time < margin;
        bool about_to_leave = next && next->kind == NOTE_OUT_OF_WATER && next->time - time[i] < margin;
        bool settles = last && last->kind == NOTE_IN_WATER && time[i] - last->time < settling;
        ret_state[i] = in_air || just_entered || about_to_leave ? WATER_AIR : settles ? WATER_SETTLING : WATER_IN;
        ret_deployment[i] = deployment;
    }
}

void water_detect(size_t n, const int64_t *time, const double *gauge, const double *conductivity, int64_t settling,
                  uint8_t *state)
{
    int64_t left_air = INT64_MIN / 2; /* when the last stretch that was found here ended */
    for (size_t i = 0; i < n; i++) {
        bool is_pressed = !(fabs(gauge[i]) < WATER_AIR_GAUGE); /* also where it is not known */
        bool conducts = !conductivity || !(conductivity[i] < WATER_AIR_CONDUCTIVITY);
        bool is_air = !is_pressed && !conducts;
        bool was_air = left_air == INT64_MAX;
        if (is_air && state[i] != WATER_AIR && !was_air && i > 0 && state[i - 1] != WATER_AIR)
            state[i - 1] = WATER_AIR; /* half out already */
        if (is_air && state[i] != WATER_AIR) {
            left_air = INT64_MAX;
            state[i] = WATER_AIR;
        } else if (was_air) {
            left_air = time[i];
            state[i] = WATER_AIR; /* half in */
        } else if (state[i] == WATER_IN && time[i] - left_air < settling) {
            state[i] = WATER_SETTLING;
        } else if (state[i] == WATER_IN && !is_pressed && !(conductivity && !isnan(conductivity[i]))) {
            state[i] = WATER_DOUBTED;
        }
    }
}

void water_find_wet(size_t n, const int64_t *time, const double *gauge, const double *conductivity,
                    const uint8_t *state, uint8_t *ret_is_wet)
{
    size_t first = 0; /* of the rows up to this one that all are so */
    for (size_t i = 0; i < n; i++) {
        bool is_measured = conductivity && !isnan(conductivity[i]);
        double least = is_measured ? WATER_WET_GAUGE : WATER_WET_GAUGE_ALONE;
        bool is_wet = gauge[i] > least && !(is_measured && conductivity[i] < WATER_AIR_CONDUCTIVITY);
        if (state[i] != WATER_AIR || !is_wet)
            first = i + 1;
        ret_is_wet[i] = first <= i && time[i] - time[first] >= WATER_WET_SINCE;
    }
}

static bool is_move(const struct note *note)
{
    return 1u << note->kind & MOVE_NOTES;
}
