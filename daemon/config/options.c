/* SPDX-License-Identifier: MIT */
#include "config/options.h"

#include "base/memory.h"
#include "base/timestamp.h"
#include "config/value.h"
#include "config/vocabulary.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define MINUTE ((double)MINUTE_MS)
#define HOUR ((double)HOUR_MS)
#define DAY ((double)DAY_MS)
#define MEBIBYTE 1048576.0

/* One row is one or two lines here, not ten. */
/* clang-format off */
#define SECTION(name, path_text, title_text)                                                                           \
    const struct section section_##name = {                                                                            \
        .path = path_text, .title = title_text, .options = name##_options, .count = COUNT_OF(name##_options)};         \
    _Static_assert(COUNT_OF(name##_options) <= 64, "the loader marks seen keys in 64 bits")

#define FIELD(name) offsetof(struct config, name)
static const struct option network_options[] = {
    {.key = "id", .type = OPTION_TEXT, .offset = FIELD(network_id), .is_required = true,
     .help = "short name for files and messages: letters, digits, '.', '_', '-'"},
    {.key = "name", .type = OPTION_TEXT, .offset = FIELD(network_name),
     .help = "name for people; default: the id"},
    {.key = "operator", .type = OPTION_TEXT, .offset = FIELD(operator_name), .standard = "",
     .may_be_empty = true, .help = "who runs the network, for pages and records"},
    {.key = "contact", .type = OPTION_TEXT, .offset = FIELD(contact), .standard = "", .may_be_empty = true,
     .help = "where readers of the archive can ask"},
    {.key = "url", .type = OPTION_TEXT, .offset = FIELD(public_url), .standard = "", .may_be_empty = true,
     .help = "web address under which the archive is served; messages link to it"},
};
SECTION(network, "network", "the network");

static const struct option intake_options[] = {
    {.key = "settle", .type = OPTION_DURATION, .offset = FIELD(settle), .standard = "5 s", .minimum = 0,
     .maximum = HOUR,
     .help = "how long size and times of a file that was not renamed into place must rest before it is read"},
    {.key = "rescan", .type = OPTION_DURATION, .offset = FIELD(rescan), .standard = "10 min", .minimum = 1000,
     .maximum = DAY, .help = "pause between full scans of the inbox, for folders that send no events"},
    {.key = "hold_open_end", .type = OPTION_DURATION, .offset = FIELD(hold_open_end), .standard = "10 min",
     .minimum = 0, .maximum = 7 * DAY,
     .help = "how long a file whose last line has no end must rest before it is taken all the same"},
    {.key = "largest_drop", .type = OPTION_SIZE, .offset = FIELD(largest_drop), .standard = "64 MiB",
     .minimum = 1024, .maximum = 1024 * MEBIBYTE, .help = "larger files are set aside unread"},
    {.key = "ignore", .type = OPTION_WORDS, .offset = FIELD(ignore),
     .help = "patterns of file names that are never drops, beside temporary and hidden names"},
};
SECTION(intake, "intake", "the intake");

static const struct option pairing_options[] = {
    {.key = "distance", .type = OPTION_QUANTITY, .offset = FIELD(pairing_distance), .dimension = UNIT_LENGTH,
     .standard = "25 km", .minimum = 0, .maximum = 1e6,
     .help = "a station that names no barometers uses those within this distance, nearest first"},
    {.key = "largest_gap", .type = OPTION_DURATION, .offset = FIELD(largest_air_gap), .standard = "3 h",
     .minimum = 1000, .maximum = 7 * DAY,
     .help = "longest pause between air pressure samples that is interpolated at all"},
    {.key = "good_gap", .type = OPTION_DURATION, .offset = FIELD(good_air_gap), .standard = "1 h",
     .minimum = 1000, .maximum = 7 * DAY,
     .help = "beyond this pause the interpolated air pressure makes values suspect"},
    {.key = "hand_over", .type = OPTION_DURATION, .offset = FIELD(hand_over), .standard = "6 h", .minimum = 0,
     .maximum = 2 * DAY,
     .help = "where another barometer takes over, its difference to the one before fades out over this time"},
    {.key = "barometer_limit", .type = OPTION_QUANTITY, .offset = FIELD(barometer_limit), .dimension = UNIT_PRESSURE,
     .standard = "0.5 hPa", .minimum = 1, .maximum = 5000,
     .help = "a barometer whose difference to its nearest neighbour changed by more wants a look"},
};
SECTION(pairing, "pairing", "the pairing");

static const struct option digest_options[] = {
    {.key = "at", .type = OPTION_CLOCK, .offset = offsetof(struct digest_mail, at), .is_required = true,
     .help = "time of day"},
    {.key = "zone", .type = OPTION_TEXT, .offset = offsetof(struct digest_mail, zone_name), .is_required = true,
     .help = "clock of that time: an offset such as '-08:00', or an IANA name"},
    {.key = "tell", .type = OPTION_WORDS, .offset = offsetof(struct digest_mail, tell), .is_required = true,
     .help = "ids of the recipients"},
    {.key = "always", .type = OPTION_BOOLEAN, .offset = offsetof(struct digest_mail, is_always), .standard = "false",
     .help = "also on days without anything to say"},
};
SECTION(digest, "alarms.digest", "the digest");

static const struct option alarms_options[] = {
    {.key = "news_age", .type = OPTION_DURATION, .offset = FIELD(news_age), .standard = "3 d",
     .minimum = MINUTE, .maximum = 3650 * DAY,
     .help = "an episode whose last moment is older than this when learnt of is recorded and wakes nobody"},
    {.key = "longest_shelf", .type = OPTION_DURATION, .offset = FIELD(longest_shelf), .standard = "30 d",
     .minimum = MINUTE, .maximum = 365 * DAY, .help = "how long a person can put an alarm aside at most"},
    {.key = "gather", .type = OPTION_DURATION, .offset = FIELD(gather), .standard = "1 min", .minimum = 0,
     .maximum = HOUR,
     .help = "new alarms of one rule within this time are one message to a recipient; 0 s: each its own, unless they are a flood"},
    {.key = "chattering", .type = OPTION_DURATION, .offset = FIELD(chattering_window), .standard = "6 h",
     .minimum = MINUTE, .maximum = 30 * DAY,
     .help = "an alarm that begins for the third time within this, by the time of the data, is called chattering"},
    {.key = "answers", .type = OPTION_WORDS, .offset = FIELD(answers),
     .help = "patterns of files below the inbox that acknowledge and shelve alarms; who can write there can silence them; "
             "default: none"},
    {.key = "digest", .type = OPTION_SECTION, .offset = FIELD(digest_mail), .section = &section_digest,
     .help = "once a day: old news, open alarms, silent stations, drops set aside, notices not delivered"},
};
SECTION(alarms, "alarms", "the alarms");

static const struct option metrics_options[] = {
    {.key = "file", .type = OPTION_PATH, .offset = FIELD(metrics_file),
     .help = "text file for a collector of metrics, named '*.prom', in a folder that the collector reads"},
};
SECTION(metrics, "metrics", "the metrics");

static const struct option retention_options[] = {
    {.key = "notices", .type = OPTION_DURATION, .offset = FIELD(keep_notices), .standard = "0 d", .minimum = 0,
     .maximum = 100 * 366 * DAY,
     .help = "how long the database keeps notices that are done, once their alarm is over; alarms and answers stay; 0 d: for good"},
    {.key = "names", .type = OPTION_DURATION, .offset = FIELD(keep_names), .standard = "400 d", .minimum = 0,
     .maximum = 100 * 366 * DAY,
     .help = "how long names of files are remembered that the inbox has no more; what was in them stays; 0 d: for good"},
    {.key = "compact", .type = OPTION_BOOLEAN, .offset = FIELD(compacts), .standard = "true",
     .help = "at a start the database is written anew where a third of it is empty, and at least 16 MiB"},
};
SECTION(retention, "retention", "the retention");

#define HEART(name) offsetof(struct heartbeat, name)
static const struct option heartbeat_options[] = {
    {.key = "url", .type = OPTION_TEXT, .offset = HEART(url), .is_required = true,
     .help = "https address that is called while all is well; choose a service that tells somebody when calls stay away"},
    {.key = "every", .type = OPTION_DURATION, .offset = HEART(every), .standard = "5 min", .minimum = 1000,
     .maximum = DAY, .help = "pause between calls"},
    {.key = "ca_file", .type = OPTION_PATH, .offset = HEART(ca_file),
     .help = "certificate authority to trust; default: the system's"},
    {.key = "allow_private_address", .type = OPTION_BOOLEAN, .offset = HEART(allows_private_address),
     .standard = "false", .help = "may point into private networks and this machine, and use http"},
};
SECTION(heartbeat, "heartbeat", "the heartbeat");

#define SENDER(name) offsetof(struct mail_server, name)
static const struct option mail_options[] = {
    {.key = "server", .type = OPTION_TEXT, .offset = SENDER(host), .is_required = true,
     .help = "name or address of the mail server"},
    {.key = "port", .type = OPTION_INTEGER, .offset = SENDER(port), .minimum = 1, .maximum = 65535,
     .help = "default: 587 with starttls, 465 with tls, 25 with plain"},
    {.key = "security", .type = OPTION_CHOICE, .offset = SENDER(security), .standard = "starttls",
     .choice = mail_security_choice, .help = "plain is for a server on this machine only"},
    {.key = "user", .type = OPTION_TEXT, .offset = SENDER(user),
     .help = "name to log in with; none: no log-in"},
    {.key = "password", .type = OPTION_SECRET, .offset = SENDER(password),
     .help = "where the password is kept"},
    {.key = "from", .type = OPTION_TEXT, .offset = SENDER(from), .is_required = true,
     .help = "sender address of all messages"},
    {.key = "hello_name", .type = OPTION_TEXT, .offset = SENDER(hello_name),
     .help = "what this machine calls itself to the mail server; default: its host name"},
    {.key = "ca_file", .type = OPTION_PATH, .offset = SENDER(ca_file),
     .help = "certificate authority to trust; default: the system's"},
};
SECTION(mail, "mail", "the mail section");

static const struct option part_options[] = {
    {.key = "stations", .type = OPTION_WORDS, .offset = offsetof(struct network_part, stations), .is_required = true,
     .help = "ids of stations or patterns such as 'north-*'; a station is of the first part that has one which fits"},
};
SECTION(part, "parts.<id>", "a part");

/* The first six may also stand in included files. */
static const struct option top_options[] = {
    {.key = "stations", .type = OPTION_OWN, .help = "map of id to station: places in the water"},
    {.key = "barometers", .type = OPTION_OWN, .help = "map of id to barometer: places in air"},
    {.key = "layouts", .type = OPTION_OWN, .help = "map of id to layout: how drops are read"},
    {.key = "recipients", .type = OPTION_OWN, .help = "map of id to recipient: who is told"},
    {.key = "rules", .type = OPTION_OWN, .help = "map of id to rule: what is told"},
    {.key = "parts", .type = OPTION_OWN,
     .help = "map of id to part: the stations of each of several services that share inbox and archive"},
    {.key = "network", .type = OPTION_SECTION, .section = &section_network, .is_required = true,
     .help = "names of the network"},
    {.key = "inbox", .type = OPTION_PATH, .offset = FIELD(inbox), .is_required = true,
     .help = "the synced folder; it is only ever read"},
    {.key = "archive", .type = OPTION_PATH, .offset = FIELD(archive), .is_required = true,
     .help = "folder for finished records, pages and originals"},
    {.key = "state", .type = OPTION_PATH, .offset = FIELD(state), .is_required = true,
     .help = "folder for the database"},
    {.key = "archive_formats", .type = OPTION_CHOICES, .offset = FIELD(archive_formats),
     .standard = "csv, netcdf, xlsx, chart", .choice = archive_format_choice,
     .help = "what a month of a station is written as; csv, which is the record, is written in any case; png is the"
             " chart for print"},
    {.key = "netcdf_year_begins", .type = OPTION_INTEGER, .offset = FIELD(netcdf_year_begins), .minimum = 1,
     .maximum = 12,
     .help = "also one netCDF file for each year of a station, which begins with this month: 1 calendar years, 10 water"
             " years from October; default: none"},
    {.key = "keep_revisions", .type = OPTION_INTEGER, .offset = FIELD(keep_revisions), .standard = "none",
     .minimum = 1, .maximum = 1000000, .may_be_none = true, .may_be_all = true,
     .help = "how many former revisions of each month stay in the archive, beside the one that took their place"},
    {.key = "revision_formats", .type = OPTION_CHOICES, .offset = FIELD(revision_formats), .standard = "csv",
     .choice = archive_format_choice,
     .help = "what is kept of a former revision, of what it was written as; csv in any case"},
    {.key = "include", .type = OPTION_OWN,
     .help = "patterns of more files with stations, barometers, layouts, recipients, rules"},
    {.key = "intake", .type = OPTION_SECTION, .section = &section_intake, .help = "when drops are read"},
    {.key = "pairing", .type = OPTION_SECTION, .section = &section_pairing,
     .help = "how barometers are found for stations"},
    {.key = "alarms", .type = OPTION_SECTION, .section = &section_alarms, .help = "what counts as news"},
    {.key = "metrics", .type = OPTION_SECTION, .section = &section_metrics, .help = "figures for monitoring"},
    {.key = "retention", .type = OPTION_SECTION, .section = &section_retention,
     .help = "what the database keeps for a while only; originals, notes, records and answers are kept for good"},
    {.key = "workers", .type = OPTION_INTEGER, .offset = FIELD(workers), .minimum = 1, .maximum = 64,
     .help = "threads that write records beside the one that takes drops; default: one more than processor cores"},
    {.key = "heartbeat", .type = OPTION_SECTION, .offset = FIELD(heartbeat), .section = &section_heartbeat,
     .help = "an address that is called while all is well, so that somebody hears when the service is dead"},
    {.key = "part", .type = OPTION_TEXT, .offset = FIELD(part),
     .help = "which of the parts this service has; its files stand in a folder of that name in the archive"},
    {.key = "sandbox", .type = OPTION_CHOICE, .offset = FIELD(sandbox), .standard = "on", .choice = sandbox_choice,
     .help = "on: the running service gives up all access to files but those that the settings name"},
    {.key = "quality", .type = OPTION_OWN, .help = "map of quantity to limits, for all stations"},
    {.key = "mail", .type = OPTION_OWN, .help = "the mail server, where a recipient has a mail address"},
};
SECTION(top, "", "the file");
const struct section section_included = {.path = "", .title = "an included file", .options = top_options, .count = 6};
#undef FIELD
#undef SENDER
#undef HEART

#define FIELD(name) offsetof(struct quality_limits, name)
static const struct option limits_options[] = {
    {.key = "sensor", .type = OPTION_RANGE, .offset = FIELD(sensor_min), .dimension = OF_QUANTITY,
     .may_be_none = true, .help = "[lowest, highest] that the sensor can give: outside it a value fails"},
    {.key = "usual", .type = OPTION_RANGE, .offset = FIELD(usual_min), .dimension = OF_QUANTITY,
     .may_be_none = true, .help = "[lowest, highest] that the place has: outside it a value is suspect"},
    {.key = "spike", .type = OPTION_DIFFERENCES, .offset = FIELD(spike_suspect), .dimension = OF_QUANTITY,
     .may_be_none = true, .help = "[suspect, fail] distance from the mean of both neighbours"},
    {.key = "rate", .type = OPTION_RATE, .offset = FIELD(rate), .dimension = OF_QUANTITY, .may_be_none = true,
     .help = "largest change per hour: beyond it a value is suspect"},
    {.key = "flat", .type = OPTION_OWN, .may_be_none = true, .help = "how long a value may stay the same"},
    {.key = "months", .type = OPTION_OWN, .may_be_none = true, .help = "usual range of each month: outside it a value is suspect"},
    {.key = "attenuated", .type = OPTION_OWN, .may_be_none = true, .help = "how much a value must vary"},
    {.key = "related", .type = OPTION_OWN, .may_be_none = true, .help = "another quantity that must agree with it"},
    {.key = "neighbour", .type = OPTION_OWN, .may_be_none = true, .help = "a station near by that must agree with it"},
};
SECTION(limits, "quality.<quantity>", "the limits of a quantity");
_Static_assert(FIELD(sensor_max) == FIELD(sensor_min) + sizeof(double), "a range is two doubles in a row");
_Static_assert(offsetof(struct rule, high) == offsetof(struct rule, low) + sizeof(double), "a range is two doubles");
_Static_assert(FIELD(usual_max) == FIELD(usual_min) + sizeof(double), "a range is two doubles in a row");
_Static_assert(FIELD(spike_fail) == FIELD(spike_suspect) + sizeof(double), "a pair is two doubles in a row");

static const struct option flat_options[] = {
    {.key = "tolerance", .type = OPTION_DIFFERENCE, .offset = FIELD(flat_tolerance), .dimension = OF_QUANTITY,
     .maximum = INFINITY, .help = "values within this are the same; half the resolution of the sensor fits"},
    {.key = "suspect", .type = OPTION_DURATION, .offset = FIELD(flat_suspect), .minimum = MINUTE,
     .maximum = 365 * DAY, .may_be_none = true, .help = "the same for this long is suspect"},
    {.key = "fail", .type = OPTION_DURATION, .offset = FIELD(flat_fail), .minimum = MINUTE,
     .maximum = 365 * DAY, .may_be_none = true, .help = "the same for this long fails"},
};
SECTION(flat, "quality.<quantity>.flat", "the flat test");
#undef FIELD

#define MONTH(name, index, words)                                                                                      \
    {.key = name, .type = OPTION_RANGE, .offset = offsetof(struct climatology, range[index]), .dimension = OF_QUANTITY, \
     .may_be_none = true, .help = "[lowest, highest] that is usual in " words}
static const struct option months_options[] = {
    MONTH("jan", 0, "January"), MONTH("feb", 1, "February"), MONTH("mar", 2, "March"),     MONTH("apr", 3, "April"),
    MONTH("may", 4, "May"),     MONTH("jun", 5, "June"),     MONTH("jul", 6, "July"),      MONTH("aug", 7, "August"),
    MONTH("sep", 8, "September"), MONTH("oct", 9, "October"), MONTH("nov", 10, "November"), MONTH("dec", 11, "December"),
};
SECTION(months, "quality.<quantity>.months", "the usual ranges by month");
#undef MONTH

#define FIELD(name) offsetof(struct attenuation, name)
static const struct option attenuated_options[] = {
    {.key = "window", .type = OPTION_DURATION, .offset = FIELD(window), .minimum = MINUTE, .maximum = 31 * DAY,
     .is_required = true, .help = "time over which it is looked at; a full tide fits where there are tides"},
    {.key = "suspect", .type = OPTION_DIFFERENCE, .offset = FIELD(suspect), .dimension = OF_QUANTITY,
     .maximum = INFINITY, .may_be_none = true, .help = "suspect where largest less smallest value is below this"},
    {.key = "fail", .type = OPTION_DIFFERENCE, .offset = FIELD(fail), .dimension = OF_QUANTITY,
     .maximum = INFINITY, .may_be_none = true, .help = "fails where it is below this"},
};
SECTION(attenuated, "quality.<quantity>.attenuated", "the test of an attenuated signal");
#undef FIELD

#define FIELD(name) offsetof(struct companion, name)
static const struct option related_options[] = {
    {.key = "quantity", .type = OPTION_QUANTITY_NAME, .offset = FIELD(quantity), .is_required = true,
     .help = "the other quantity, of the same station"},
    {.key = "difference", .type = OPTION_DIFFERENCES, .offset = FIELD(suspect), .dimension = OF_QUANTITY,
     .may_be_none = true, .help = "[suspect, fail] difference of the two, where both measure the same"},
    {.key = "rate", .type = OPTION_RATE, .offset = FIELD(rate), .dimension = OF_QUANTITY, .may_be_none = true,
     .help = "change per hour that the other must explain: suspect where it stood still meanwhile"},
    {.key = "steady", .type = OPTION_OWN, .help = "change of the other up to which it stood still"},
    {.key = "window", .type = OPTION_DURATION, .offset = FIELD(window), .standard = "2 h", .minimum = MINUTE,
     .maximum = 7 * DAY, .help = "time before the sample over which the other is looked at"},
};
SECTION(related, "quality.<quantity>.related", "the test against a related quantity");
_Static_assert(FIELD(fail) == FIELD(suspect) + sizeof(double), "a pair is two doubles in a row");
#undef FIELD

#define FIELD(name) offsetof(struct neighbour_limits, name)
static const struct option neighbour_options[] = {
    {.key = "station", .type = OPTION_TEXT, .offset = FIELD(station), .is_required = true, .help = "id of the neighbour"},
    {.key = "difference", .type = OPTION_DIFFERENCES, .offset = FIELD(suspect), .dimension = OF_QUANTITY,
     .is_required = true, .help = "[suspect, fail] difference from the neighbour at the same time"},
    {.key = "reach", .type = OPTION_DURATION, .offset = FIELD(reach), .standard = "1 h", .minimum = MINUTE,
     .maximum = 7 * DAY, .help = "longest pause between two samples of the neighbour that is interpolated"},
};
SECTION(neighbour, "quality.<quantity>.neighbour", "the test against a neighbour");
_Static_assert(FIELD(fail) == FIELD(suspect) + sizeof(double), "a pair is two doubles in a row");
#undef FIELD

#define FIELD(name) offsetof(struct air_calibration, name)
static const struct option calibration_options[] = {
    {.key = "temperature", .type = OPTION_QUANTITY, .offset = FIELD(temperature), .dimension = UNIT_TEMPERATURE,
     .is_required = true, .minimum = -2, .maximum = 40, .help = "of the air at the calibration"},
    {.key = "air_pressure", .type = OPTION_QUANTITY, .offset = FIELD(air_pressure), .dimension = UNIT_PRESSURE,
     .is_required = true, .minimum = 50600, .maximum = 111500, .help = "that there was, not reduced to sea level"},
    {.key = "told", .type = OPTION_QUANTITY, .offset = FIELD(told), .dimension = UNIT_PRESSURE, .is_required = true,
     .minimum = 50600, .maximum = 111500, .help = "that the sensor was told"},
};
SECTION(calibration, "stations.<id>.oxygen_calibration", "the oxygen calibration");
#undef FIELD

#define FIELD(name) offsetof(struct station, name)
static const struct option station_options[] = {
    {.key = "name", .type = OPTION_TEXT, .offset = FIELD(name), .help = "name for people; default: the id"},
    {.key = "latitude", .type = OPTION_QUANTITY, .offset = FIELD(latitude), .dimension = NO_DIMENSION,
     .is_required = true, .minimum = -90, .maximum = 90, .help = "degrees north, WGS 84"},
    {.key = "longitude", .type = OPTION_QUANTITY, .offset = FIELD(longitude), .dimension = NO_DIMENSION,
     .is_required = true, .minimum = -180, .maximum = 180,
     .help = "degrees east, WGS 84; negative in the west"},
    {.key = "elevation", .type = OPTION_QUANTITY, .offset = FIELD(elevation), .dimension = UNIT_LENGTH,
     .is_required = true, .minimum = -500, .maximum = 9000,
     .help = "of the water surface above sea level, about: air pressure is reduced to it"},
    {.key = "standard_time", .type = OPTION_OFFSET, .offset = FIELD(utc_offset), .is_required = true,
     .help = "offset of the place's standard time from UTC, never daylight saving"},
    {.key = "datum", .type = OPTION_TEXT, .offset = FIELD(datum), .standard = "", .may_be_empty = true,
     .help = "what level 0 is, for people"},
    {.key = "datum_changes", .type = OPTION_OWN,
     .help = "list of changes of the datum with their times: levels are written, and read by hand, in the one then valid"},
    {.key = "sensor_elevation", .type = OPTION_QUANTITY, .offset = FIELD(sensor_elevation),
     .dimension = UNIT_LENGTH, .minimum = -12000, .maximum = 9000,
     .help = "of the sensor above the datum: gives the level where no reading ties it"},
    {.key = "tape_point", .type = OPTION_QUANTITY, .offset = FIELD(tape_point), .dimension = UNIT_LENGTH,
     .minimum = -1000, .maximum = 9000,
     .help = "elevation above the datum of the point that tape-down readings hang from"},
    {.key = "reading_uncertainty", .type = OPTION_QUANTITY, .offset = FIELD(reading_uncertainty),
     .dimension = UNIT_LENGTH, .standard = "0.002 m", .minimum = 0.0005, .maximum = 1,
     .help = "standard uncertainty of a level read by hand; waves at the staff make it larger"},
    {.key = "reading_limit", .type = OPTION_QUANTITY, .offset = FIELD(reading_limit), .dimension = NO_DIMENSION,
     .standard = "6", .minimum = 0, .maximum = 1000,
     .help = "a hand reading further from its neighbours than this many standard uncertainties is set aside; 0: never"},
    {.key = "zero_correction", .type = OPTION_CHOICE, .offset = FIELD(zero_correction), .standard = "none",
     .choice = zero_correction_choice,
     .help = "what is taken off the pressure for what the sensor read in air: none, offset (at the beginning), linear (between both ends)"},
    {.key = "zero_limit", .type = OPTION_QUANTITY, .offset = FIELD(zero_limit), .dimension = UNIT_PRESSURE,
     .standard = "5 hPa", .minimum = 10, .maximum = 2000,
     .help = "a sensor that reads further than this from the air pressure while in air wants a look"},
    {.key = "drops", .type = OPTION_WORDS, .offset = FIELD(drops),
     .help = "path patterns below the inbox whose files belong here; '**' crosses folders"},
    {.key = "serials", .type = OPTION_WORDS, .offset = FIELD(serials),
     .help = "serial numbers of the loggers that hang here"},
    {.key = "labels", .type = OPTION_WORDS, .offset = FIELD(labels),
     .help = "other names that files and notes use for the place"},
    {.key = "out_of_service", .type = OPTION_TEXT, .offset = FIELD(out_of_service),
     .help = "a reason: alarms of the station are recorded, and nobody is told, as long as this stands here"},
    {.key = "barometers", .type = OPTION_WORDS, .offset = FIELD(barometers),
     .help = "ids of its barometers, best first; default: those within the pairing distance"},
    {.key = "salinity", .type = OPTION_OWN, .is_required = true,
     .help = "'measured' (from conductivity), 'fresh', or practical salinity such as 13"},
    {.key = "salinity_if_missing", .type = OPTION_QUANTITY, .offset = FIELD(salinity),
     .dimension = UNIT_SALINITY, .maximum = 42,
     .help = "practical salinity used where it is measured and missing"},
    {.key = "conductance_coefficient", .type = OPTION_QUANTITY, .offset = FIELD(conductance_coefficient),
     .dimension = UNIT_TEMPERATURE_COEFFICIENT, .standard = "0.0191", .minimum = 0.001, .maximum = 0.05,
     .help = "fraction per degree that refers conductivity to 25 degC"},
    {.key = "conductance_compensation", .type = OPTION_CHOICE, .offset = FIELD(conductance_compensation),
     .standard = "linear", .choice = compensation_choice,
     .help = "how conductivity is referred to 25 degC; iso_7888 is non-linear, for natural fresh water"},
    {.key = "conductance_sensor_compensation", .type = OPTION_CHOICE, .offset = FIELD(conductance_sensor_compensation),
     .standard = "same", .choice = sensor_compensation_choice,
     .help = "what a sensor that writes specific conductance did; it is undone to get the conductivity"},
    {.key = "conductance_sensor_coefficient", .type = OPTION_QUANTITY, .offset = FIELD(conductance_sensor_coefficient),
     .dimension = UNIT_TEMPERATURE_COEFFICIENT, .minimum = 0.001, .maximum = 0.05,
     .help = "fraction per degree that the sensor used; default: conductance_coefficient"},
    {.key = "oxygen_sensor_salinity", .type = OPTION_OWN,
     .help = "salinity that the oxygen sensor was told; default 0; 'measured': the logger told it the measured one"},
    {.key = "oxygen_sensor_pressure", .type = OPTION_OWN,
     .help = "air pressure that a reading in % refers to; default 1013.25 hPa; 'measured': that of the moment"},
    {.key = "oxygen_calibration", .type = OPTION_SECTION, .offset = FIELD(oxygen_calibration),
     .section = &section_calibration,
     .help = "a calibration in moist air for which the sensor was told another air pressure than there was"},
    {.key = "oxygen_thermometer", .type = OPTION_QUANTITY_NAME, .offset = FIELD(oxygen_thermometer),
     .help = "temperature or second_temperature, whichever stands beside the oxygen sensor; default: temperature"},
    {.key = "position_reach", .type = OPTION_QUANTITY, .offset = FIELD(position_reach), .dimension = UNIT_LENGTH,
     .standard = "500 m", .minimum = 1, .maximum = 1e6,
     .help = "values of a file that places the logger farther from the station are suspect"},
    {.key = "interval", .type = OPTION_DURATION, .offset = FIELD(interval), .minimum = 1000, .maximum = DAY,
     .help = "sampling interval; default: found from the data"},
    {.key = "settling", .type = OPTION_DURATION, .offset = FIELD(settling), .standard = "15 min", .minimum = 0,
     .maximum = 7 * DAY, .help = "how long values are suspect after the logger went into the water"},
    {.key = "memory_samples", .type = OPTION_INTEGER, .offset = FIELD(memory_samples), .minimum = 100, .maximum = 1e9,
     .help = "how many samples the logger can keep: a visit is due before they are used up, counted from when it was put in"},
    {.key = "battery_lasts", .type = OPTION_DURATION, .offset = FIELD(battery_lasts), .minimum = DAY, .maximum = 3650 * DAY,
     .help = "how long new batteries last, from the note 'battery' or 'instrument': a visit is due before they are empty"},
    {.key = "battery_limit", .type = OPTION_QUANTITY, .offset = FIELD(battery_limit), .dimension = UNIT_VOLTAGE,
     .minimum = 0.5, .maximum = 60,
     .help = "the logger stops below this voltage: a visit is due before its readings of the battery, drawn out, reach it"},
    {.key = "quality", .type = OPTION_OWN,
     .help = "map of quantity to limits, where they differ from the network's"},
};
SECTION(station, "stations.<id>", "a station");
#undef FIELD

#define FIELD(name) offsetof(struct datum_change, name)
static const struct option datum_change_options[] = {
    {.key = "from", .type = OPTION_OWN, .is_required = true, .help = "time of the change, such as 2026-05-01T18:00:00Z"},
    {.key = "offset", .type = OPTION_QUANTITY, .offset = FIELD(offset), .dimension = UNIT_LENGTH, .is_required = true,
     .minimum = -1000, .maximum = 9000,
     .help = "of the new level 0 above that of the first datum, in which all elevations of the station stay"},
    {.key = "datum", .type = OPTION_TEXT, .offset = FIELD(datum), .is_required = true,
     .help = "what level 0 is from then on, for people"},
};
SECTION(datum_change, "stations.<id>.datum_changes", "a change of the datum");
#undef FIELD

#define FIELD(name) offsetof(struct barometer, name)
static const struct option barometer_options[] = {
    {.key = "name", .type = OPTION_TEXT, .offset = FIELD(name), .help = "name for people; default: the id"},
    {.key = "latitude", .type = OPTION_QUANTITY, .offset = FIELD(latitude), .dimension = NO_DIMENSION,
     .is_required = true, .minimum = -90, .maximum = 90, .help = "degrees north, WGS 84"},
    {.key = "longitude", .type = OPTION_QUANTITY, .offset = FIELD(longitude), .dimension = NO_DIMENSION,
     .is_required = true, .minimum = -180, .maximum = 180,
     .help = "degrees east, WGS 84; negative in the west"},
    {.key = "elevation", .type = OPTION_QUANTITY, .offset = FIELD(elevation), .dimension = UNIT_LENGTH,
     .is_required = true, .minimum = -500, .maximum = 9000, .help = "of the sensor above sea level"},
    {.key = "standard_time", .type = OPTION_OFFSET, .offset = FIELD(utc_offset), .is_required = true,
     .help = "offset of the place's standard time from UTC, never daylight saving"},
    {.key = "drops", .type = OPTION_WORDS, .offset = FIELD(drops),
     .help = "path patterns below the inbox whose files belong here"},
    {.key = "serials", .type = OPTION_WORDS, .offset = FIELD(serials),
     .help = "serial numbers of the loggers that hang here"},
    {.key = "labels", .type = OPTION_WORDS, .offset = FIELD(labels),
     .help = "other names that files use for the place"},
};
SECTION(barometer, "barometers.<id>", "a barometer");
#undef FIELD

#define FIELD(name) offsetof(struct layout, name)
static const struct option time_options[] = {
    {.key = "columns", .type = OPTION_OWN, .is_required = true,
     .help = "header pattern of the column with date and time, or of both columns"},
    {.key = "format", .type = OPTION_TEXT, .offset = FIELD(time_format), .is_required = true,
     .help = "as in 'YYYY-MM-DD hh:mm:ss' or 'M/D/YY h:mm AM', or 'iso'"},
    {.key = "zone", .type = OPTION_TEXT, .offset = FIELD(zone_name), .is_required = true,
     .help = "clock of the file: 'station' (its standard time), an offset such as '-08:00', or an IANA name"},
    {.key = "repeated_hour", .type = OPTION_CHOICE, .offset = FIELD(repeated_hour), .standard = "in order",
     .choice = repeated_hour_choice,
     .help = "what a time means that the clock showed twice when summer ended"},
    {.key = "missing_hour", .type = OPTION_CHOICE, .offset = FIELD(missing_hour), .standard = "refuse",
     .choice = missing_hour_choice, .help = "what to do with a time that the clock never showed"},
};
SECTION(time, "layouts.<id>.time", "the time of a layout");

static const struct option layout_options[] = {
    {.key = "holds", .type = OPTION_CHOICE, .offset = FIELD(holds), .standard = "readings",
     .choice = holds_choice, .help = "what its files hold"},
    {.key = "files", .type = OPTION_WORDS, .offset = FIELD(files),
     .help = "path patterns below the inbox; default: any file whose header fits"},
    {.key = "delimiter", .type = OPTION_CHARACTER, .offset = FIELD(delimiter), .standard = "found",
     .choice = delimiter_choice, .characters = "\0,;\t|", .help = "what stands between cells"},
    {.key = "decimal", .type = OPTION_CHARACTER, .offset = FIELD(decimal), .standard = ".",
     .choice = decimal_choice, .characters = ".,", .help = "decimal mark of numbers"},
    {.key = "missing", .type = OPTION_WORDS, .offset = FIELD(missing),
     .help = "cells that mean 'no value', beside the empty one"},
    {.key = "end_marks", .type = OPTION_WORDS, .offset = FIELD(end_marks),
     .help = "a row whose first cell begins with one of these ends the data"},
    {.key = "comment", .type = OPTION_TEXT, .offset = FIELD(comment), .standard = "", .may_be_empty = true,
     .help = "lines that begin with this are skipped"},
    {.key = "sheet", .type = OPTION_TEXT, .offset = FIELD(sheet),
     .help = "workbooks: name of the sheet, with * and ?; default: the one that fits and is not hidden"},
    {.key = "may_end_open", .type = OPTION_BOOLEAN, .offset = FIELD(may_end_open), .standard = "false",
     .help = "the last line never has a line end, so do not wait for it"},
    {.key = "serial_label", .type = OPTION_TEXT, .offset = FIELD(serial_label),
     .help = "words before the serial number of the logger, above the header"},
    {.key = "station_label", .type = OPTION_TEXT, .offset = FIELD(station_label),
     .help = "words before the name of the place, above the header"},
    {.key = "time", .type = OPTION_SECTION, .section = &section_time, .is_required = true,
     .help = "where the time stands and which clock it is"},
    {.key = "columns", .type = OPTION_OWN, .is_required = true, .help = "list of columns, in any order"},
    {.key = "kinds", .type = OPTION_OWN, .help = "notes: map of the crew's words to kinds of note"},
    {.key = "quantities", .type = OPTION_OWN, .help = "notes: map of the crew's words to quantities"},
};
SECTION(layout, "layouts.<id>", "a layout");
#undef FIELD

#define FIELD(name) offsetof(struct column, name)
static const struct option column_options[] = {
    {.key = "header", .type = OPTION_TEXT, .offset = FIELD(header), .is_required = true,
     .help = "pattern for the header cell; case does not count"},
    {.key = "is", .type = OPTION_OWN, .is_required = true,
     .help = "a quantity, or station, serial, note, kind, quantity_name, value, unit, reference, until, "
             "text, ignored"},
    {.key = "unit", .type = OPTION_TEXT, .offset = FIELD(unit),
     .help = "unit of the values; default: the one that the header cell names"},
    {.key = "note", .type = OPTION_NOTE_KIND, .offset = FIELD(note_kind),
     .help = "is: note: which kind a filled cell is"},
    {.key = "quantity", .type = OPTION_QUANTITY_NAME, .offset = FIELD(quantity),
     .help = "is: note: what was checked"},
    {.key = "reference", .type = OPTION_BOOLEAN, .offset = FIELD(is_reference), .standard = "false",
     .help = "is: note: the cell is the field meter's or the standard's side of a check"},
    {.key = "optional", .type = OPTION_BOOLEAN, .offset = FIELD(is_optional), .standard = "false",
     .help = "the layout also fits files without this column"},
};
SECTION(column, "layouts.<id>.columns", "a column");
#undef FIELD

#define FIELD(name) offsetof(struct recipient, name)
static const struct option recipient_options[] = {
    {.key = "webhook", .type = OPTION_TEXT, .offset = FIELD(url),
     .help = "https address that notices are posted to"},
    {.key = "secret", .type = OPTION_SECRET, .offset = FIELD(secret),
     .help = "webhook: where the signing secret is kept ('whsec_' and base64)"},
    {.key = "old_secret", .type = OPTION_SECRET, .offset = FIELD(old_secret),
     .help = "webhook: where the former secret is kept while keys are changed"},
    {.key = "body", .type = OPTION_PROSE, .offset = FIELD(body),
     .help = "webhook: template of what is posted instead of an event, such as '{\"text\": \"%{subject}\"}' for chat "
             "hooks"},
    {.key = "body_type", .type = OPTION_CHOICE, .offset = FIELD(body_type), .standard = "json",
     .choice = body_type_choice, .help = "webhook: what the template is; values are escaped for it"},
    {.key = "ca_file", .type = OPTION_PATH, .offset = FIELD(ca_file),
     .help = "webhook: certificate authority to trust; default: the system's"},
    {.key = "allow_private_address", .type = OPTION_BOOLEAN, .offset = FIELD(allows_private_address),
     .standard = "false", .help = "webhook: may point into private networks and this machine, and use http"},
    {.key = "mail", .type = OPTION_TEXT, .offset = FIELD(address),
     .help = "mail address, instead of a webhook"},
    {.key = "hours", .type = OPTION_SECTION, .offset = FIELD(hours), .section = &section_hours,
     .help = "outside these only notices of high priority are sent, the others wait; default: at all times"},
};
SECTION(recipient, "recipients.<id>", "a recipient");
#undef FIELD

#define FIELD(name) offsetof(struct hours, name)
static const struct option hours_options[] = {
    {.key = "days", .type = OPTION_OWN, .help = "days of the week, such as mon-fri or [tue, sat-sun]; default: all"},
    {.key = "from", .type = OPTION_CLOCK, .offset = FIELD(from), .is_required = true,
     .help = "time of day at which they begin"},
    {.key = "to", .type = OPTION_CLOCK, .offset = FIELD(to), .is_required = true,
     .help = "end; before the beginning: on the next day"},
    {.key = "zone", .type = OPTION_TEXT, .offset = FIELD(zone_name), .is_required = true,
     .help = "clock of these times: an offset such as '-08:00', or an IANA name"},
};
SECTION(hours, "recipients.<id>.hours", "the hours");
#undef FIELD

static const struct option secret_options[] = {
    {.key = "file", .type = OPTION_PATH, .offset = offsetof(struct secret_words, file),
     .help = "path of a file that holds the secret and nothing else"},
    {.key = "credential", .type = OPTION_TEXT, .offset = offsetof(struct secret_words, credential),
     .help = "name of a credential that the service manager hands over"},
};
SECTION(secret, "recipients.<id>.secret", "a secret");

#define FIELD(name) offsetof(struct rule, name)
static const struct option escalate_options[] = {
    {.key = "after", .type = OPTION_DURATION, .offset = FIELD(escalate_after), .minimum = MINUTE, .maximum = 30 * DAY,
     .is_required = true, .help = "how long nobody has answered"},
    {.key = "to", .type = OPTION_WORDS, .offset = FIELD(escalate_to), .is_required = true,
     .help = "ids of the recipients further up"},
};
SECTION(escalate, "rules.<id>.escalate", "the escalation");

#define PART(name) offsetof(struct rule_condition, name)
static const struct option while_options[] = {
    {.key = "quantity", .type = OPTION_QUANTITY_NAME, .offset = PART(quantity),
     .help = "what is looked at beside the rule's own quantity"},
    {.key = "below", .type = OPTION_OWN, .help = "it counts only while that is below this"},
    {.key = "above", .type = OPTION_OWN, .help = "it counts only while that is above this"},
    {.key = "tide", .type = OPTION_OWN,
     .help = "it counts only at this stage of the tide, by the station's own level: rising, falling, high, low, or a list; "
             "what came last is known some hours later"},
    {.key = "months", .type = OPTION_OWN,
     .help = "it counts only in these months, such as may-sep or [dec-feb, jul]; by the station's standard time"},
    {.key = "from", .type = OPTION_CLOCK, .offset = PART(from),
     .help = "it counts only from this time of day on; by the station's standard time"},
    {.key = "to", .type = OPTION_CLOCK, .offset = PART(to), .help = "and before this one; before 'from': over midnight"},
};
#undef PART
SECTION(while, "rules.<id>.while", "the condition");

static const struct option rule_options[] = {
    {.key = "kind", .type = OPTION_CHOICE, .offset = FIELD(kind), .is_required = true,
     .choice = rule_kind_choice, .help = "what is looked for"},
    {.key = "title", .type = OPTION_TEXT, .offset = FIELD(title), .help = "for people; default: the id"},
    {.key = "quantity", .type = OPTION_QUANTITY_NAME, .offset = FIELD(quantity), .help = "what is looked at"},
    {.key = "limit", .type = OPTION_OWN,
     .help = "value of below and above, change of rise, fall, change and flat, difference of drift"},
    {.key = "band", .type = OPTION_RANGE, .offset = FIELD(low), .dimension = OF_QUANTITY,
     .help = "outside: [lowest, highest] that is fine; 'none' for an open end"},
    {.key = "since", .type = OPTION_OWN,
     .help = "change: 'visit' (the last level reading or logger put in), or a time such as 2026-03-01T00:00:00Z"},
    {.key = "while", .type = OPTION_OWN,
     .help = "{quantity: temperature, above: 20 degC} or {months: may-sep, from: \"22:00\", to: \"06:00\"}, or a list of "
             "these: it counts only while all is so"},
    {.key = "deadband", .type = OPTION_DIFFERENCE, .offset = FIELD(deadband), .dimension = OF_QUANTITY,
     .maximum = INFINITY, .help = "how far back over the limit it must come to be over; default 0"},
    {.key = "window", .type = OPTION_DURATION, .offset = FIELD(window), .minimum = MINUTE, .maximum = 365 * DAY,
     .help = "rise, fall, flat: time for the change; silence, gap, visit_due, unreadable_drop, undelivered: the longest that is fine"},
    {.key = "ahead", .type = OPTION_DURATION, .offset = FIELD(ahead), .standard = "7 d", .minimum = 0, .maximum = 90 * DAY,
     .help = "visit_due: how long before memory or battery run out (memory_samples, battery_lasts, battery_limit of the "
             "station)"},
    {.key = "on_delay", .type = OPTION_DURATION, .offset = FIELD(on_delay), .standard = "0 s", .minimum = 0,
     .maximum = 30 * DAY, .help = "how long it must be so, by the time of the data, to begin"},
    {.key = "samples", .type = OPTION_INTEGER, .offset = FIELD(samples), .standard = "1", .minimum = 1, .maximum = 100,
     .help = "how many samples in a row it must be so, beside on_delay, to begin"},
    {.key = "off_delay", .type = OPTION_DURATION, .offset = FIELD(off_delay), .standard = "0 s", .minimum = 0,
     .maximum = 30 * DAY, .help = "how long it must not be so to end"},
    {.key = "count_suspect", .type = OPTION_BOOLEAN, .offset = FIELD(counts_suspect), .standard = "true",
     .help = "values flagged suspect count too; default of rise and fall: false, because a spike is a rise and a fall"},
    {.key = "priority", .type = OPTION_CHOICE, .offset = FIELD(priority), .standard = "medium",
     .choice = priority_choice, .help = "how urgent it is"},
    {.key = "stations", .type = OPTION_WORDS, .offset = FIELD(stations),
     .help = "ids or patterns of stations (silence and gap: barometers too); default: all"},
    {.key = "except", .type = OPTION_WORDS, .offset = FIELD(except),
     .help = "ids or patterns of stations, among those, that it does not watch: they have a rule with limits of their own"},
    {.key = "tell", .type = OPTION_WORDS, .offset = FIELD(tell),
     .help = "ids of the recipients; none: it only stands on the pages"},
    {.key = "repeat", .type = OPTION_DURATION, .offset = FIELD(repeat), .standard = "none", .minimum = MINUTE,
     .maximum = 30 * DAY, .may_be_none = true, .help = "time between reminders while it is so and nobody has answered"},
    {.key = "escalate", .type = OPTION_SECTION, .section = &section_escalate,
     .help = "who is told, too, where it is so and nobody has answered for a time"},
    {.key = "advice", .type = OPTION_PROSE, .offset = FIELD(advice), .standard = "", .may_be_empty = true,
     .help = "what to do, for the message"},
};
SECTION(rule, "rules.<id>", "a rule");
#undef FIELD

/* clang-format on */

static const struct section *const sections[] = {
    &section_top,     &section_network,   &section_intake,       &section_pairing,   &section_alarms,
    &section_metrics, &section_retention, &section_limits,    &section_flat,         &section_months,    &section_attenuated,
    &section_related, &section_neighbour, &section_calibration,  &section_station,   &section_barometer,
    &section_layout,  &section_time,      &section_column,       &section_recipient, &section_secret,
    &section_mail,    &section_rule,      &section_digest,       &section_hours,     &section_escalate,
    &section_while,   &section_heartbeat, &section_datum_change, &section_part,
};

const struct section *option_section(size_t index)
{
    return index < COUNT_OF(sections) ? sections[index] : NULL;
}

const struct option *option_find(const struct section *section, const char *key)
{
    for (size_t i = 0; i < section->count; i++)
        if (option_is_called(&section->options[i], key))
            return &section->options[i];
    return NULL;
}

bool option_is_called(const struct option *option, const char *key)
{
    return strcmp(option->key, key) == 0 || (option->former && strcmp(option->former, key) == 0);
}

const char *option_nearest(const char *mistyped, const char *(*word_at)(const void *context, size_t index),
                           const void *context)
{
    const char *nearest = NULL, *word;
    size_t length = strlen(mistyped);
    unsigned least = length < 4 ? 2 : length < 8 ? 3 : 4; /* one letter of three is the most that is still a slip */
    for (size_t i = 0; (word = word_at(context, i)) != NULL; i++) {
        unsigned distance = value_same_word(mistyped, word) ? 0 : text_distance(mistyped, word);
        if (distance < least && distance < strlen(word)) {
            least = distance;
            nearest = word;
        }
    }
    return nearest;
}

void option_print_bound(const struct option *option, double bound, char *ret, size_t size)
{
    char duration[TIMESTAMP_SIZE];
    if (option->type == OPTION_DURATION)
        snprintf(ret, size, "%s", duration_print((int64_t)bound, duration));
    else if (option->type == OPTION_SIZE && bound < MEBIBYTE)
        snprintf(ret, size, "%.0f B", bound);
    else if (option->type == OPTION_SIZE)
        snprintf(ret, size, "%.0f MiB", bound / MEBIBYTE);
    else if (option->type == OPTION_INTEGER || option->dimension < 0 || option->dimension == UNIT_SALINITY)
        snprintf(ret, size, "%.0f", bound);
    else
        snprintf(ret, size, "%.10g %s", bound, unit_base((enum unit_dimension)option->dimension)->name);
}
