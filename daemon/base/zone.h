/* SPDX-License-Identifier: MIT */
/* Local clocks: a fixed offset, or an IANA zone read from the system's compiled zone files (TZif, RFC 8536).
 * Our own small reader, because the C library's zones are one setting for the whole process. */
#ifndef RILLWARD_BASE_ZONE_H
#define RILLWARD_BASE_ZONE_H

#include "base/error.h"

#include <stdbool.h>
#include <stdint.h>

struct zone; /* immutable after zone_load */

/* `name`: "UTC", "+10:00" (fixed offset) or an IANA name such as "Europe/Lisbon", looked up in TZDIR or
 * /usr/share/zoneinfo. NULL with a CONFIG error that says what is accepted. Free with zone_free (NULL is fine). */
struct zone *zone_load(const char *name, struct error *error);
void zone_free(struct zone *zone);
const char *zone_name(const struct zone *zone);
bool zone_is_fixed(const struct zone *zone);

/* ms that the zone's clock stands ahead of UTC at `time` (UTC). */
int64_t zone_offset(const struct zone *zone, int64_t time);

/* What a local clock reading can mean. */
enum zone_reading {
    ZONE_ONCE,    /* the ordinary case */
    ZONE_MISSING, /* skipped when clocks went forward: ret[0] and ret[1] are by the offset before and after */
    ZONE_TWICE,   /* repeated when clocks went back: ret[0] is the earlier, ret[1] the later instant */
};
/* `local` is a civil reading as if it were UTC. Both ret values are set (equal for ZONE_ONCE). */
enum zone_reading zone_to_utc(const struct zone *zone, int64_t local, int64_t ret[2]);

#endif
