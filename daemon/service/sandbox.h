/* SPDX-License-Identifier: MIT */
/* The running service gives up all access to files but what its settings name (Landlock, landlock(7)).
 *
 *   reads    the inbox and the folder that holds it (a sync program may make the inbox anew), the folders of settings,
 *            secrets, credentials and certificate authorities, and what name resolution, TLS and time zones read
 *   writes   archive, state, the folder of the metrics file
 *
 * Besides: no new privileges, nothing is executed, no TCP port is opened, no process outside is signalled, as far as
 * the kernel knows how. /etc is readable by name because resolv.conf is replaced, not rewritten; file modes still hold
 * there. A kernel without Landlock is no mistake: then the unit's protections are all there is.
 *
 * Enter before the first thread is made: only the calling thread and those it makes later are confined. */
#ifndef RILLWARD_SERVICE_SANDBOX_H
#define RILLWARD_SERVICE_SANDBOX_H

#include "base/error.h"
#include "base/text.h"
#include "config/config.h"

#include <limits.h>
#include <stdbool.h>

struct sandbox;

/* What these settings need; folders to write in must exist. The config is not needed after the call. */
struct sandbox *sandbox_plan(const struct config *config, const char *config_path);
void sandbox_free(struct sandbox *sandbox); /* NULL is fine */

/* For good, with at most the features of `abi_most` (INT_MAX: all that both sides know; 0: none, as on an old kernel).
 * True also where the kernel offers nothing or a filter forbids it: sandbox_is_entered tells. SYSTEM error. */
bool sandbox_enter(struct sandbox *sandbox, int abi_most, struct error *error);
bool sandbox_is_entered(const struct sandbox *sandbox);
/* One sentence for the log. */
void sandbox_describe(const struct sandbox *sandbox, struct text *ret);

/* Can a service in `running` work with what `fresh` needs? CONFIG error that names what lies outside. */
bool sandbox_covers(const struct sandbox *running, const struct sandbox *fresh, struct error *error);

/* A folder of the plan that was mounted or made anew since, below no other of it, so that the kernel keeps us out;
 * NULL: none. Only starting again helps. */
const char *sandbox_find_stale(const struct sandbox *sandbox);

#endif
