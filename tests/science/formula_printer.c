/* SPDX-License-Identifier: MIT */

/* Evaluates formulas by name, for checks written in another language. Reads lines 'name argument argument
 * ...' from standard input (numbers as strtod reads them, nan included) and prints one result a line with 17
 * digits. An unknown name or a wrong number of arguments ends it with status 1 and a message. */

#include "science/air.h"
#include "science/conductance.h"
#include "science/density.h"
#include "science/gravity.h"
#include "science/level.h"
#include "science/oxygen.h"
#include "science/salinity.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define MOST_ARGUMENTS 4

/* Exactly one of the pointers is set; it tells the number of arguments. */
struct formula {
    const char *name;
    double (*one)(double);
    double (*two)(double, double);
    double (*three)(double, double, double);
    double (*four)(double, double, double, double);
};

static bool answer(char *line);
static size_t read_arguments(char *rest, double *arguments);
static size_t arity(const struct formula *formula);
static double evaluate(const struct formula *formula, const double *x);

/* clang-format off */
#define ONE(function) {.name = #function, .one = function}
#define TWO(function) {.name = #function, .two = function}
#define THREE(function) {.name = #function, .three = function}
#define FOUR(function) {.name = #function, .four = function}
/* clang-format on */

static const struct formula formulas[] = {
    TWO(gravity_at),
    ONE(gravity_wgs84),
    ONE(gravity_grs80),
    ONE(gravity_igf80),
    ONE(gravity_teos10),
    ONE(gravity_unesco44),
    THREE(density_of_water),
    ONE(density_tanaka),
    TWO(density_tanaka_at_pressure),
    THREE(density_eos80),
    THREE(density_eos80_68),
    THREE(salinity_from_conductivity),
    THREE(salinity_to_conductivity),
    THREE(salinity_pss78_68),
    THREE(salinity_ratio_68),
    THREE(conductance_at_25),
    THREE(conductance_undone),
    THREE(conductance_at_25_seawater),
    ONE(conductance_factor_iso7888),
    ONE(conductance_to_salinity),
    THREE(oxygen_solubility),
    ONE(oxygen_solubility_fresh),
    TWO(oxygen_salinity_factor),
    TWO(oxygen_pressure_factor),
    FOUR(oxygen_percent),
    FOUR(oxygen_from_percent),
    FOUR(oxygen_corrected_for_salinity),
    FOUR(oxygen_percent_at_pressure),
    TWO(oxygen_garcia_gordon),
    TWO(oxygen_from_micromoles_per_kg),
    FOUR(depth_from_pressure),
    THREE(depth_from_density),
    TWO(depth_unesco44),
    FOUR(air_pressure_reduced),
    THREE(air_pressure_reduced_isa),
    ONE(air_pressure_isa),
    ONE(air_height_isa),
    ONE(air_saturation_vapour_pressure),
    THREE(air_virtual_temperature),
};

int main(void)
{
    char line[512];
    while (fgets(line, sizeof line, stdin) != NULL) {
        if (!answer(line))
            return EXIT_FAILURE;
    }
    return fflush(stdout) == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}

static bool answer(char *line)
{
    char *rest = line;
    const char *name = strsep(&rest, " \t\r\n");
    double arguments[MOST_ARGUMENTS + 1];
    const size_t count = read_arguments(rest, arguments);
    for (size_t i = 0; i < sizeof formulas / sizeof formulas[0]; i++) {
        if (strcmp(formulas[i].name, name) != 0)
            continue;
        if (count != arity(&formulas[i])) {
            fprintf(stderr, "'%s' takes %zu arguments, not %zu\n", name, arity(&formulas[i]), count);
            return false;
        }
        printf("%.17g\n", evaluate(&formulas[i], arguments));
        return true;
    }
    fprintf(stderr, "no formula '%s'\n", name);
    return false;
}

/* Reads at most one more than any formula takes, so that too many are noticed. */
static size_t read_arguments(char *rest, double *arguments)
{
    size_t count = 0;
    while (rest != NULL && count <= MOST_ARGUMENTS) {
        char *end;
        const double value = strtod(rest, &end);
        if (end == rest)
            break;
        arguments[count++] = value;
        rest = end;
    }
    return count;
}

static size_t arity(const struct formula *formula)
{
    if (formula->one != NULL)
        return 1;
    if (formula->two != NULL)
        return 2;
    return formula->three != NULL ? 3 : 4;
}

static double evaluate(const struct formula *formula, const double *x)
{
    switch (arity(formula)) {
    case 1:
        return formula->one(x[0]);
    case 2:
        return formula->two(x[0], x[1]);
    case 3:
        return formula->three(x[0], x[1], x[2]);
    default:
        return formula->four(x[0], x[1], x[2], x[3]);
    }
}
