/* SPDX-License-Identifier: MIT */
/* The parts of the settings that are maps of ids, and those that have a shape of their own. Each function takes the
 * value node of its key and appends to the reader's config; arrays are on the heap while they grow (load.c moves them).
 */
#ifndef RILLWARD_CONFIG_SECTIONS_H
#define RILLWARD_CONFIG_SECTIONS_H

#include "config/read.h"

void read_stations(struct reader *reader, const yaml_node_t *map, struct capacities *room);
void read_barometers(struct reader *reader, const yaml_node_t *map, struct capacities *room);
void read_layouts(struct reader *reader, const yaml_node_t *map, struct capacities *room);
void read_recipients(struct reader *reader, const yaml_node_t *map, struct capacities *room);
void read_rules(struct reader *reader, const yaml_node_t *map, struct capacities *room);
void read_parts(struct reader *reader, const yaml_node_t *map, struct capacities *room);
void read_network_quality(struct reader *reader, const yaml_node_t *map);
void read_digest(struct reader *reader, const yaml_node_t *map);
void read_mail(struct reader *reader, const yaml_node_t *map);
void read_heartbeat(struct reader *reader, const yaml_node_t *map);

#endif
