/* SPDX-License-Identifier: MIT */
/* The network's own files: the front page, the feed, network.json, and the manifest over all manifests. */
#ifndef RILLWARD_SERVICE_PUBLISH_NETWORK_H
#define RILLWARD_SERVICE_PUBLISH_NETWORK_H

#include "base/workers.h"
#include "service/pipeline.h"

/* Written where they changed, and due no more. Only while no station's page is due: they link to these. A
 * worker that has nothing else to do draws one of the two large ones. */
bool publish_network(struct pipeline *pipeline, struct workers *workers, struct error *error);

#endif
