/* SPDX-License-Identifier: MIT */
#include "archive/about.h"

#include "base/timestamp.h"

#include "model/flags.h"

#include <string.h>

static void add_review(const struct dataset_review *review, struct text *text);
static void add_named_line(struct text *text, const char *label, const char *value);
static void add_flags(struct text *text);
static void add_tests(struct text *text);
static void add_wrapped(struct text *text, const char *sentence);

static const char folders[] =
    "WHAT IS WHERE\n"
    "\n"
    "  index.html                               the network at a glance\n"
    "  network.json                             the same for machines, described by network.schema.json\n"
    "  feed.atom                                records that are new or revised\n"
    "  alarms.html                              how many alarms each recipient gets, beside what is acceptable\n"
    "  stations/ID/index.html                   one station, and all that stands behind its record\n"
    "  stations/ID/field-sheet.html             to print for the next visit\n"
    "  stations/ID/YYYY/ID_YYYY-MM.csv          finished record of one station and month\n"
    "  stations/ID/YYYY/ID_YYYY-MM.csv-metadata.json\n"
    "                                           its columns, units, settings, checks and notes (W3C CSVW)\n"
    "  stations/ID/YYYY/ID_YYYY-MM_daily.csv    daily values, with a description of their own beside them\n"
    "  stations/ID/YYYY/ID_YYYY-MM.nc           the record as netCDF (CF, ACDD), if the network keeps it\n"
    "  stations/ID/YYYY/ID_YYYY-MM.xlsx         as a workbook, the same\n"
    "  stations/ID/YYYY/ID_YYYY-MM.xml          as WaterML 2.0, the same\n"
    "  stations/ID/YYYY/ID_YYYY-MM.svg          as a chart, the same\n"
    "  stations/ID/YYYY/ID_YYYY-MM.png          as a chart for print, the same\n"
    "  stations/ID/originals/                   files as they came from the field, untouched\n"
    "  barometers/ID/originals/                 the same for loggers of air pressure\n"
    "  network/originals/                       the same for notes about several stations\n"
    "  manifest-sha256.txt                      fingerprints of the files here\n"
    "  stations/ID/manifest-sha256.txt          fingerprints of all files of that station\n"
    "\n"
    "HOW TO CHECK THAT NOTHING CHANGED\n"
    "\n"
    "  sha256sum -c manifest-sha256.txt         here, then in the folder of each station that matters\n"
    "\n"
    "The manifest here holds the fingerprint of every other manifest: one line vouches for a whole station.\n"
    "\n"
    "TIMES\n"
    "\n"
    "Times are UTC and end in Z. Months are those of the station's standard time, a fixed distance from UTC\n"
    "without daylight saving, so the first row of a month need not stand at midnight UTC.\n"
    "\n"
    "VALUES\n"
    "\n"
    "An empty cell is a missing value. The name of a column ends in its unit, if it has one. Columns that\n"
    "begin with raw_ hold the readings before any correction; drop and line say which original and which of\n"
    "its lines they came from. A record whose content changes gets a higher revision number.\n"
    "\n"
    "A record is provisional until a person has reviewed it. The description in its metadata says who, when\n"
    "and why. What was reviewed changes by a person's word only, never by later data alone.\n"
    "\n";

static const char provisional[] =
    "Values are provisional until a qualified person has reviewed them; later checks, notes or air "
    "pressure can change them.";
static const char caution[] =
    "This archive does not replace official flood or water-quality warnings. Data arrive late, and so "
    "do notices about them. Thresholds follow local rules and licensed practice.";

const char *about_provisional(void)
{
    return provisional;
}

const char *about_caution(void)
{
    return caution;
}

void about_add_state(const struct dataset *dataset, struct text *ret)
{
    if (dataset->state != RECORD_REVIEWED)
        text_puts(ret, provisional);
    for (size_t k = 0; k < dataset->review_count; k++)
        add_review(&dataset->reviews[k], ret);
}

static void add_review(const struct dataset_review *review, struct text *text)
{
    char from[TIMESTAMP_SIZE], to[TIMESTAMP_SIZE], said[TIMESTAMP_SIZE], visible[2048];
    text_make_visible(review->who, visible, sizeof visible);
    text_printf(text, "%sReviewed from %s to %s by %s, said on %.10s", text->length > 0 ? " " : "",
                timestamp_print(review->span.from, from), timestamp_print(review->span.to, to), visible,
                timestamp_print(review->said, said));
    if (*review->why) {
        text_make_visible(review->why, visible, sizeof visible);
        text_printf(text, ": %s", visible);
    }
    text_puts(text, text_ends_with(text->bytes, ".") ? "" : ".");
}

void about_render(const struct config *config, struct text *ret)
{
    add_named_line(ret, "", config->network_name);
    add_named_line(ret, "kept by ", config->operator_name);
    add_named_line(ret, "contact: ", config->contact);
    add_named_line(ret, "address: ", config->public_url);
    text_puts(ret, "\nPLEASE READ\n\n");
    add_wrapped(ret, provisional);
    add_wrapped(ret, caution);
    text_putc(ret, '\n');
    text_puts(ret, folders);
    add_flags(ret);
    add_tests(ret);
}

/* Names come from the settings: a line end in one must not begin a line of ours. */
static void add_named_line(struct text *text, const char *label, const char *value)
{
    if (!value || *value == '\0')
        return;
    char visible[1024];
    text_make_visible(value, visible, sizeof visible);
    text_puts(text, label);
    text_puts(text, visible);
    text_putc(text, '\n');
}

static void add_flags(struct text *text)
{
    static const uint8_t flags[] = {FLAG_PASS, FLAG_NOT_EVALUATED, FLAG_SUSPECT, FLAG_FAIL, FLAG_MISSING};
    text_puts(text, "FLAGS\n\n");
    text_puts(text, "Columns that end in _flag hold the primary quality flag of IOC Manuals and Guides 54:\n\n");
    for (size_t i = 0; i < sizeof flags; i++)
        text_printf(text, "  %d  %s\n", flags[i], flag_word(flags[i]));
    text_putc(text, '\n');
}

static void add_tests(struct text *text)
{
    text_puts(text, "Columns that end in _tests hold the sum of the numbers of all tests that spoke up:\n\n");
    for (unsigned bit = 0; bit < TEST_COUNT; bit++)
        text_printf(text, "  %7u  %-18s %s\n", 1u << bit, test_info(bit)->key, test_info(bit)->meaning);
}

/* A paragraph of one sentence or more, broken before column 100. */
static void add_wrapped(struct text *text, const char *sentence)
{
    size_t column = 0;
    while (*sentence) {
        size_t length = strcspn(sentence, " ");
        if (column > 0 && column + 1 + length >= 100) {
            text_putc(text, '\n');
            column = 0;
        } else if (column > 0) {
            text_putc(text, ' ');
            column++;
        }
        text_add(text, sentence, length);
        column += length;
        sentence += length;
        sentence += strspn(sentence, " ");
    }
    text_putc(text, '\n');
}
