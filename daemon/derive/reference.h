/* SPDX-License-Identifier: MIT */
/* The level's tie to the datum: hand readings, the error between two of them spread linearly in time, and what each
 * reading showed about the record before it. */
#ifndef RILLWARD_DERIVE_REFERENCE_H
#define RILLWARD_DERIVE_REFERENCE_H

#include "base/memory.h"
#include "config/config.h"
#include "model/facts.h"

/* Where one hand reading meets one deployment. */
struct anchor {
    int64_t time;
    uint32_t deployment;
    double level; /* read by hand, above the datum [m] */
    double depth; /* over the sensor at that time, from the samples around it [m] */
    int64_t note;
    enum check_kind kind;
    double uncertainty;          /* standard uncertainty of level - depth [m]: reading, sensor and air pressure */
    double salinity_uncertainty; /* of the salinity used: it bends the depth */
};

/* Anchors by deployment, then time. A reading ties every deployment that has usable depths within
 * REFERENCE_REACH of it, so one reading during a visit ties both the deployment that ends and the one that begins.
 * depth: NaN where unusable. Readings of the same time are averaged. In the arena. */
#define REFERENCE_REACH ((int64_t)20 * 60 * 1000)
size_t reference_anchors(struct arena *arena, const struct station *station, size_t note_count,
                         const struct note *notes, size_t n, const int64_t *time, const double *depth,
                         const uint32_t *deployment, struct anchor **ret);

/* Hand readings that cannot be right. One is outside where level - depth there differs from that at its neighbours by
 * more than `limit` standard uncertainties of the difference, each compared within one deployment: a reading at a visit
 * has its neighbour before in the deployment that ends, and the one behind in the deployment that begins. With a
 * neighbour on both sides, it must stand out from both to the same side, so a logger that was moved is no misreading.
 * With neighbours on one side alone (the newest reading), two of them must agree with each other; what comes later may
 * still prove it right. `limit` 0: nothing is set aside. `anchors` as from reference_anchors() with their
 * uncertainties; those set aside are taken out, the count that is left is returned. ret: in the arena, by time. */
struct reading_set_aside {
    struct anchor anchor;
    double expected;    /* level that the neighbours leave [m] */
    double uncertainty; /* of the difference, the smaller of the two [m] */
};
size_t reference_set_aside(struct arena *arena, double limit, size_t anchor_count, struct anchor *anchors,
                           struct reading_set_aside **ret, size_t *ret_count);

/* ret_offset[i] = level - depth for each row: linear between the anchors of its deployment, constant outside. A row
 * whose deployment has no anchor takes the nearest anchor of another and ret_is_borrowed is set; with no anchor at all
 * the offset is `sensor_elevation` (NaN: none). */
void reference_offsets(size_t n, const int64_t *time, const uint32_t *deployment, size_t anchor_count,
                       const struct anchor *anchors, double sensor_elevation, double *ret_offset,
                       uint8_t *ret_is_borrowed);

/* What the tie leaves open at each row: ret_closing [m], the error between the two readings around it as it may still
 * stand there (nothing at the readings, half of it midway), and ret_change [m], how far depth is from that at the
 * nearest reading (the depth itself where there is none). */
void reference_doubts(size_t n, const int64_t *time, const double *depth, const uint32_t *deployment,
                      size_t anchor_count, const struct anchor *anchors, double *ret_closing, double *ret_change);

/* One check result an anchor: what the chain said with the earlier anchor alone, against the reading. */
size_t reference_closings(struct arena *arena, size_t anchor_count, const struct anchor *anchors,
                          struct check_result **ret);

#endif
