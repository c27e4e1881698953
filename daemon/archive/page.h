/* SPDX-License-Identifier: MIT */
/* The pages that people read: static HTML, complete without script, from the same facts as the files beside them.
 *
 * No clock is read, so pages say when things were, never how long ago. Times are those of the station's standard time,
 * which each page states; machines find UTC in the `datetime` beside them. Nothing comes from outside the archive, and
 * every link is relative: pages work from a disk, a mirror or a web server alike. Same facts, same bytes. All strings
 * may hold anything: they are escaped here. */
#ifndef RILLWARD_ARCHIVE_PAGE_H
#define RILLWARD_ARCHIVE_PAGE_H

#include "archive/dataset.h"
#include "archive/network_json.h"
#include "base/text.h"

#define PAGE_STYLE_PATH "style.css" /* below the archive, as all paths here */
#define PAGE_SCRIPT_PATH "chart.js"
#define PAGE_FEED_PATH "feed.atom"
#define PAGE_ALARMS_PATH "alarms.html"

/* ---- The network: index.html and feed.atom ---- */

struct page_barometer {
    const struct barometer *barometer;
    int64_t last; /* reading; TIME_NONE */
};

struct page_file {
    const char *label, *path, *sha256;
    int64_t bytes;
};

struct page_revision { /* one revision of a record, as it was published */
    const struct station *station;
    int year, month;
    int64_t revision;
    int64_t last_time;       /* of its last row; TIME_NONE */
    int64_t arrived;         /* of the newest drop known then */
    const char *path;        /* of the CSV; NULL where it stands no more */
    const char *year_path;   /* of the yearly file that it is in, too; NULL where there is none; in the feed only */
    const char *changes;     /* lines of plain text, see changes.h; "" of a first one */
    enum record_state state; /* as it was published */
    const struct page_file *files; /* what was kept of a former one; on a station's page only */
    size_t file_count;
};

struct page_network {
    const struct network_view *view; /* stations with values, newest records, waiting spans and open alarms */
    const bool *has_page;            /* by station: only those are linked */
    const struct page_barometer *barometers;
    size_t barometer_count;
    const struct alarm *alarms; /* all open ones: of stations, barometers and drops */
    size_t alarm_count;
    const struct page_revision *revisions; /* newest first */
    size_t revision_count;
};

void page_network_render(const struct page_network *network, struct text *ret);
/* Atom (RFC 4287). An entry's time is the arrival of the newest drop that was known when it was published. */
void page_feed_render(const struct page_network *network, struct text *ret);

/* ---- Alarms that people got: alarms.html ---- */

struct page_recipient {
    const char *id;         /* in the settings: never an address */
    int64_t raised;         /* new alarms of the `days` up to the newest one */
    int64_t newest;         /* when; TIME_NONE: there is none */
    int64_t on_busiest_day; /* of these, and the ... */
    int64_t busiest_day;    /* ... first moment of it; TIME_NONE */
    int64_t most_in_10_min; /* of these */
    int64_t chattering;     /* of these */
    int64_t active;         /* alarms that are still so, */
    int64_t active_since;   /* and when the oldest was learnt; TIME_NONE */
};

/* Nothing here depends on a clock: same alarms and notices, same page. */
struct page_figures {
    const struct config *config;
    int days; /* that are counted */
    int64_t utc_offset;
    const struct page_recipient *recipients; /* in the order of the settings */
    size_t recipient_count;
    int a_day_acceptable, in_10_min_acceptable, standing_below; /* for one person */
};

void page_alarms_render(const struct page_figures *figures, struct text *ret);

/* ---- A station: stations/<id>/index.html and field-sheet.html ---- */

struct page_month {
    int year, month;
    int64_t revision;
    enum record_state state;
    const struct page_file *files; /* the CSV first; the picture has the path ending in ".svg" */
    size_t file_count;
};

struct page_original {
    uint32_t number;
    const char *path; /* below the archive */
    const char *drop; /* where it arrived in the inbox, raw bytes */
    const char *sha256, *layout;
    int64_t arrived, bytes, rows, refused;
};

/* Lists are newest first. `has_more`: older ones exist, and stand in the records. */
struct page_station {
    const struct config *config;
    const struct network_station *at;
    const struct dataset *latest; /* newest month: station, year, month and span are set, and either the record or what
                                   * was computed of it; NULL without one */
    const struct page_month *months;
    size_t month_count;
    const struct page_file *years; /* files of whole years, newest first; may be none */
    size_t year_count;
    const struct check_result *checks;
    size_t check_count;
    const struct finding *findings; /* of the last year */
    size_t finding_count;
    const struct note *notes;
    size_t note_count;
    const struct page_original *note_originals; /* of those notes, any order */
    size_t note_original_count;
    const struct alarm *alarms; /* ended ones too */
    size_t alarm_count;
    const struct page_original *originals;
    size_t original_count;
    const struct page_revision *revisions; /* of all its records */
    size_t revision_count;
    bool has_more_revisions, has_more_checks, has_more_findings, has_more_notes, has_more_alarms, has_more_originals;
};

/* Paths of the two, below the archive; `ret` holds ARCHIVE_PATH_SIZE bytes (archive.h). */
char *page_station_path(const char *station, char *ret);
char *page_sheet_path(const char *station, char *ret);

void page_station_render(const struct page_station *station, struct text *ret);
/* To print and take along: what is known, what is due, and blank rows in the order of the notebook. */
void page_sheet_render(const struct page_station *station, struct text *ret);

/* index.html above the folders of several parts: where each has its pages. From the settings alone, so that every part
 * writes the same bytes. */
void page_shared_render(const struct config *config, struct text *ret);
/* Write it; one service at a time. SYSTEM error. */
bool page_shared_write(const struct config *config, struct error *error);

/* The style sheet of all pages. */
void page_style_render(struct text *ret);
/* The script of the stations' pages: their chart comes closer, by button, key and touch. */
void page_script_render(struct text *ret);

#endif
