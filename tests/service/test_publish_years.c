/* SPDX-License-Identifier: MIT */
#include "service/publish_years.h"

#include <criterion/criterion.h>

/* What it writes, and when again, is tested with the program: tests/system/test_formats.py. */

Test(publish_years, wants_calendar_years_where_the_year_begins_in_january)
{
    struct config config = {.netcdf_year_begins = 1};
    cr_expect(publish_years_wants(&config, "mill-pond", "stations/mill-pond/mill-pond_2026.nc"));
    cr_expect_not(publish_years_wants(&config, "mill-pond", "stations/mill-pond/mill-pond_water-year-2026.nc"));
}

Test(publish_years, wants_water_years_where_it_begins_elsewhen)
{
    struct config config = {.netcdf_year_begins = 10};
    cr_expect(publish_years_wants(&config, "mill-pond", "stations/mill-pond/mill-pond_water-year-2026.nc"));
    cr_expect_not(publish_years_wants(&config, "mill-pond", "stations/mill-pond/mill-pond_2026.nc"));
}

Test(publish_years, wants_none_that_is_not_asked_for_and_nothing_else_of_the_station)
{
    struct config none = {.netcdf_year_begins = 0}, january = {.netcdf_year_begins = 1};
    cr_expect_not(publish_years_wants(&none, "a", "stations/a/a_2026.nc"));
    cr_expect_not(publish_years_wants(&january, "a", "stations/a/2026/a_2026-05.nc"));
    cr_expect_not(publish_years_wants(&january, "a", "stations/b/b_2026.nc"));
    cr_expect_not(publish_years_wants(&january, "a", "stations/a/index.html"));
}
