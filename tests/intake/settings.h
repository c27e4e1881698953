/* SPDX-License-Identifier: MIT */
/* Settings of a small network built by hand, and a plain text of what intake made of a file. */
#ifndef RILLWARD_TESTS_INTAKE_SETTINGS_H
#define RILLWARD_TESTS_INTAKE_SETTINGS_H

#include "base/text.h"
#include "config/config.h"
#include "intake/intake.h"

/* Stations heron-creek (UTC-8) and mill-pond (UTC-8), barometer hill (UTC-8), and the layouts in settings.c. In the
 * arena. */
struct config *settings_make(struct arena *arena);
/* The layout with the id; it may be changed by a test. */
struct layout *settings_layout(struct config *config, const char *id);
/* ms UTC of "2026-03-01T00:00:00Z". */
int64_t settings_time(const char *printed);
/* `now` of the tests: 2026-06-01T00:00:00Z. */
int64_t settings_now(void);
/* Is the IANA zone database there? */
bool settings_has_zones(void);

/* intake_read of a NUL-ended text with `open_end_is_fine` false. */
bool settings_read(struct arena *arena, const struct config *config, const char *path, const char *text,
                   struct batch *ret, struct error *error);
/* What is in the batch, or the error, line by line. */
void settings_print(const struct config *config, const struct batch *batch, const struct error *error,
                    struct text *ret);

/* Folder of the project: RILLWARD_SOURCE_ROOT of the environment, else of the build. */
const char *settings_root(void);

#endif
