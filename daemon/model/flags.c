/* SPDX-License-Identifier: MIT */
#include "model/flags.h"

#include <assert.h>

static const struct test_info tests[] = {
    {"gap", "a longer pause than the sampling interval stands before this sample"},
    {"syntax", "the cell was there but could not be read"},
    {"gross_range", "outside the range that the sensor or the operator allows"},
    {"climatology", "outside the usual range of the month"},
    {"spike", "stands out from both neighbours"},
    {"rate_of_change", "changed faster than allowed"},
    {"flat_line", "repeats the same value"},
    {"attenuated_signal", "varies less than it should"},
    {"related_quantity", "disagrees with a related quantity"},
    {"neighbour", "disagrees with a neighbour station"},
    {"in_air", "the sensor was out of the water"},
    {"settling", "shortly after the sensor entered the water"},
    {"no_air_pressure", "waits for a barometer record"},
    {"air_pressure_gap", "air pressure was interpolated over a long pause"},
    {"no_reference", "no hand reading ties the level to the datum"},
    {"corrected", "changed by a correction"},
    {"stated_salinity", "uses the salinity stated in the settings"},
    {"too_much_drift", "the correction is beyond the largest allowed"},
    {"formula_range", "outside the valid range of the published formula"},
    {"struck_by_note", "struck out by a field note"},
    {"restored_by_note", "restored by a field note"},
    {"position", "the file places the logger too far from the station"},
    {"no_temperature", "there is no water temperature to compute it with"},
};
_Static_assert(sizeof tests / sizeof tests[0] == TEST_COUNT, "every bit has a word");

const struct test_info *test_info(unsigned bit)
{
    assert(bit < TEST_COUNT);
    return &tests[bit];
}

const char *flag_word(uint8_t flag)
{
    switch (flag) {
    case FLAG_PASS: return "pass";
    case FLAG_NOT_EVALUATED: return "not evaluated";
    case FLAG_SUSPECT: return "suspect";
    case FLAG_FAIL: return "fail";
    case FLAG_MISSING: return "missing";
    default: return "unknown";
    }
}
