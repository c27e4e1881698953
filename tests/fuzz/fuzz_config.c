/* SPDX-License-Identifier: MIT */
/* Any bytes as a settings file: refused with a complaint, or accepted and usable; never anything else. */
#include "config/load.h"

#include <stdlib.h>

int LLVMFuzzerTestOneInput(const unsigned char *bytes, size_t length);

int LLVMFuzzerTestOneInput(const unsigned char *bytes, size_t length)
{
    struct config_problems problems;
    config_problems_init(&problems);
    struct config *config = config_load_bytes("fuzz.yaml", (const char *)bytes, length, &problems);
    if ((config == NULL) == (problems.count == 0))
        abort();
    for (size_t i = 0; i < problems.count; i++)
        config_problem_print(&problems.list[i], problems.arena);
    for (size_t i = 0; config && i < config->station_count; i++)
        if (config_find_station(config, config->stations[i].id) != i)
            abort();
    config_free(config);
    config_problems_done(&problems);
    return 0;
}
