/* SPDX-License-Identifier: MIT */
/* Stations that are out of service by the settings, in the sense of IEC 62682 / ISA-18.2: an administrator takes them
 * out, with a reason, until the setting goes. Data are taken, derived and published as ever; alarms are found and
 * recorded, and nobody is told or asked: they stand on a shelf without an end. What is still so when the station is
 * back in service is announced. */
#ifndef RILLWARD_SERVICE_OUT_OF_SERVICE_H
#define RILLWARD_SERVICE_OUT_OF_SERVICE_H

#include "service/tell.h"

/* Why the station is out of service; NULL: it is in service, or no station. */
const char *out_of_service_why(const struct config *config, const char *station);

/* Within a transaction: what is open there is put on the shelf, what stands on it elsewhere comes back. */
bool out_of_service_apply(const struct teller *teller, int64_t now, struct error *error);

#endif
