/* SPDX-License-Identifier: MIT */
#include "science/gravity.h"

#include "science/check.h"

#include <criterion/criterion.h>
#include <math.h>

Test(gravity, formulas_agree_with_published_and_independent_values)
{
    const struct check rows[] = {
        CHECK(gravity_grs80(90), 9.8321863685, 1e-9, "GRS 80 polar gravity, Moritz 1980 (code constant)"),
        CHECK(gravity_grs80(45), 9.806199203, 1e-8, "Moritz 1980, from memory; computed equal"),
        CHECK(gravity_wgs84(45), 9.8061978, 5e-08, "computed independently"),
        CHECK(gravity_wgs84(60), 9.8191770, 5e-08, "computed independently"),
        CHECK(gravity_igf80(45), 9.806200, 5e-07, "computed independently"),
        CHECK(gravity_teos10(30), 9.7932493, 5e-08, "TEOS-10 via gsw 3.6.16"),
        CHECK(gravity_unesco44(30), 9.793240, 5e-07, "computed independently: eq. of UNESCO 44 p. 27"),
        CHECK(gravity_at(45, 1000), 9.803113, 5e-07, "computed independently"),
        CHECK(gravity_wgs84(15), 9.7837850, 5e-08, "computed independently"),
        CHECK(gravity_teos10(60), 9.8191789, 5e-08, "TEOS-10 via gsw 3.6.16"),
        CHECK(gravity_grs80(37), 9.7990563797, 5e-11, "computed independently"),
        CHECK(gravity_wgs84(37), 9.7990549459, 5e-11, "computed independently"),
        CHECK(gravity_igf80(37), 9.799057020, 5e-10, "computed independently"),
        CHECK(gravity_unesco44(55), 9.815065064, 5e-10, "computed independently"),
        CHECK(gravity_teos10(55), 9.815074959, 5e-10, "computed independently"),
        CHECK(gravity_at(30, 9000), 9.76552617, 5e-09, "computed independently"),
    };
    CHECK_ALL(rows);
}

Test(gravity, the_last_digit_of_each_constant_counts)
{
    const struct check rows[] = {
        CHECK(gravity_wgs84(90), 9.8321849378590, 2e-13, "computed independently"),
        CHECK(gravity_grs80(90), 9.8321863684819, 2e-13, "computed independently"),
        CHECK(gravity_at(10, 10000), 9.751078917282, 1e-12, "computed independently"),
    };
    CHECK_ALL(rows);
}

Test(gravity, all_forms_agree_within_a_hundredth_of_a_millimetre_in_ten_metres)
{
    for (int latitude = -90; latitude <= 90; latitude += 5) {
        const double g = gravity_at(latitude, 0);
        const double forms[] = {gravity_wgs84(latitude), gravity_grs80(latitude), gravity_igf80(latitude),
                                gravity_teos10(latitude), gravity_unesco44(latitude)};
        for (size_t i = 0; i < sizeof forms / sizeof forms[0]; i++)
            cr_expect(is_close(forms[i], g, 1.2e-5), "form %zu at %d: %.9g", i, latitude, forms[i]);
    }
}

Test(gravity, it_grows_towards_the_poles_and_falls_with_height_and_is_symmetric)
{
    for (int latitude = 0; latitude < 90; latitude++) {
        cr_expect(gravity_at(latitude + 1, 0) > gravity_at(latitude, 0));
        cr_expect(gravity_at(latitude, 100) < gravity_at(latitude, 0));
        cr_expect(gravity_at(-latitude, 20) == gravity_at(latitude, 20));
    }
    const double per_metre = gravity_at(45, 1) - gravity_at(45, 0);
    cr_expect(is_close(per_metre, -3.086e-6, 2e-9), "common practice: the free-air gradient, got %g",
              per_metre);
}

Test(gravity, missing_or_impossible_places_give_nan)
{
    const struct check_missing rows[] = {
        MISSING(gravity_at(NAN, 0)),     MISSING(gravity_at(45, NAN)),     MISSING(gravity_at(90.01, 0)),
        MISSING(gravity_at(-91, 0)),     MISSING(gravity_at(45, 10001)),   MISSING(gravity_at(45, -1001)),
        MISSING(gravity_grs80(NAN)),     MISSING(gravity_igf80(INFINITY)), MISSING(gravity_teos10(180)),
        MISSING(gravity_unesco44(-100)),
    };
    MISSING_ALL(rows);
}
