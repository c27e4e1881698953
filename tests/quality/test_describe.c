/* SPDX-License-Identifier: MIT */
#include "quality/describe.h"

#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <math.h>

static void expect(enum quantity quantity, const struct quality_limits *limits, const char *words)
{
    struct text text;
    text_init(&text, 4096);
    text_puts(&text, "before ");
    quality_describe(quantity, limits, &text);
    cr_expect_str_eq(text.bytes + 7, words);
    text_done(&text);
}

Test(describe, nothing_is_said_of_tests_that_are_off)
{
    expect(QUANTITY_OXYGEN, &quality_off, "");
}

Test(describe, every_threshold_is_in_the_written_unit)
{
    struct climatology months = {.is_off = false};
    for (size_t i = 0; i < 12; i++) {
        months.range[i][0] = -INFINITY;
        months.range[i][1] = INFINITY;
    }
    months.range[1][1] = 0.5;
    months.range[6][0] = 0.2;
    months.range[6][1] = 1;
    const struct attenuation attenuated = {.window = 12 * HOUR_MS, .suspect = 0.01};
    const struct companion related = {.quantity = QUANTITY_LEVEL, .rate = 0.3, .steady = 0.05, .window = 2 * HOUR_MS};
    const struct neighbour_limits neighbour = {.station = "weir-pool", .suspect = 0.1, .fail = 0.2, .reach = HOUR_MS};
    const struct quality_limits limits = {.sensor_min = 0,
                                          .sensor_max = 100,
                                          .usual_min = NAN,
                                          .usual_max = 70,
                                          .spike_suspect = 0.2,
                                          .spike_fail = 0.5,
                                          .rate = 1,
                                          .flat_tolerance = 0.001,
                                          .flat_suspect = 24 * HOUR_MS,
                                          .months = &months,
                                          .attenuated = &attenuated,
                                          .related = &related,
                                          .neighbour = &neighbour};
    expect(QUANTITY_SPECIFIC_CONDUCTANCE, &limits,
           "gross_range fails outside 0..100000 µS/cm, suspect outside ..70000 µS/cm; "
           "climatology suspect outside Feb ..500 µS/cm, Jul 200..1000 µS/cm; "
           "spike suspect above 200 µS/cm, fails above 500 µS/cm; rate_of_change suspect above 1000 µS/cm/h; "
           "flat_line within 1 µS/cm suspect after 1 d; "
           "attenuated_signal suspect below 10 µS/cm of variation in 12 h; "
           "related_quantity suspect above 300 µS/cm/h while level moved no more than 0.05 m in 2 h; "
           "neighbour suspect more apart than 100 µS/cm, fails more apart than 200 µS/cm, held against "
           "'weir-pool'");
}
