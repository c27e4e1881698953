/* SPDX-License-Identifier: MIT */
/* `rillward retry`: drops that were set aside are looked at again though neither they nor the settings changed. Without
 * names, places that were left alone since their work ended the program, too. Works beside a running service, which
 * hears of it at once. */
#ifndef RILLWARD_SERVICE_RETRY_COMMAND_H
#define RILLWARD_SERVICE_RETRY_COMMAND_H

#include "base/error.h"
#include "base/text.h"
#include "config/config.h"

/* `paths` below the inbox, as status names them; none: all that were set aside. Appends what was done to ret. INPUT
 * error for a path that was not set aside; those before it are tried again. */
bool retry_command_run(const struct config *config, char *const *paths, int path_count, struct text *ret,
                       struct error *error);

#endif
