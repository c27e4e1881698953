/* SPDX-License-Identifier: MIT */
#include "base/random.h"
#include "base/timestamp.h"
#include "store/state.h"
#include "support/example_notice.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

static struct state state;

static void make_state(void)
{
    state_make(&state);
    state_begin(&state);
}

static void remove_state(void)
{
    state_done(&state);
}

TestSuite(store_alarms, .init = make_state, .fini = remove_state);
