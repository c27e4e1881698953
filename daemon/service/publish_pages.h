/* SPDX-License-Identifier: MIT */
/* Pages and manifests of stations and barometers. A page links to what stands already: records come first (publish.c),
 * then the stations' pages, then the network's (publish_network.c). */
#ifndef RILLWARD_SERVICE_PUBLISH_PAGES_H
#define RILLWARD_SERVICE_PUBLISH_PAGES_H

#include "base/workers.h"
#include "service/month_facts.h"
#include "service/pipeline.h"

/* Of some due places or, when no station is due any more, the network's own files. `places` has at least one. This
 * thread loads and writes, and waits for workers that draw meanwhile: the bytes and the order of the files are those of
 * one worker. */
bool publish_places(struct pipeline *pipeline, struct workers *workers, struct known_months *known,
                    const uint32_t *places, size_t n, struct error *error);

#endif
