/* SPDX-License-Identifier: MIT */
/* The axis of one panel of a chart: what it reaches over, and round numbers to label it with. */
#ifndef RILLWARD_ARCHIVE_SCALE_H
#define RILLWARD_ARCHIVE_SCALE_H

struct scale {
    double low, high; /* what the panel reaches over */
    double step;      /* between labels: 1, 2 or 5 times a power of ten */
    int decimals;     /* that labels need */
};

/* Reaches from `min` to `max` with a little air above and below, and over `least` at least: noise is not made to look
 * like weather. About `labels` labels. min <= max, both finite. */
struct scale scale_fit(double min, double max, double least, int labels);

/* The first label at or above `low`; the next ones follow by `step`. */
double scale_first_label(const struct scale *scale);

/* 0 at `low`, 1 at `high`, not limited to these. */
double scale_position(const struct scale *scale, double value);

#endif
