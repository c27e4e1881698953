/* SPDX-License-Identifier: MIT */
#include "archive/write_waterml.h"

#include "archive/about.h"
#include "archive/daily.h"
#include "archive/written.h"
#include "base/memory.h"
#include "base/timestamp.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define DEFINITIONS "http://www.opengis.net/def/"
#define WATERML_DEFINITIONS DEFINITIONS "waterml/2.0/"

struct writer {
    const struct dataset *dataset;
    struct text *text;
    char first[TIMESTAMP_SIZE], last[TIMESTAMP_SIZE]; /* samples */
    int64_t interval;
};

static void begin_collection(struct writer *writer);
static void put_observation(struct writer *writer, enum quantity quantity);
static void put_observation_metadata(struct writer *writer);
static void put_property(struct writer *writer, enum quantity quantity);
static void put_station(struct writer *writer, enum quantity quantity);
static void put_series(struct writer *writer, enum quantity quantity);
static void put_defaults(struct writer *writer, enum quantity quantity, uint8_t flag);
static void put_point(struct writer *writer, enum quantity quantity, size_t row, uint8_t usual_flag);
static void put_period(struct writer *writer, const char *id, unsigned number);
static void put_identifier(struct writer *writer);
static void put_quality(struct text *text, uint8_t flag);
static uint8_t most_frequent_flag(const struct record *record, enum quantity quantity);
static void put_element(struct text *text, const char *name, const char *content);

static const char opening[] = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
                              "<wml2:Collection gml:id=\"collection\"\n"
                              "  xmlns:wml2=\"http://www.opengis.net/waterml/2.0\"\n"
                              "  xmlns:gml=\"http://www.opengis.net/gml/3.2\"\n"
                              "  xmlns:om=\"http://www.opengis.net/om/2.0\"\n"
                              "  xmlns:sa=\"http://www.opengis.net/sampling/2.0\"\n"
                              "  xmlns:sams=\"http://www.opengis.net/samplingSpatial/2.0\"\n"
                              "  xmlns:gmd=\"http://www.isotc211.org/2005/gmd\"\n"
                              "  xmlns:gco=\"http://www.isotc211.org/2005/gco\"\n"
                              "  xmlns:xlink=\"http://www.w3.org/1999/xlink\"\n"
                              "  xmlns:xsi=\"http://www.w3.org/2001/XMLSchema-instance\"\n"
                              "  xsi:schemaLocation=\"http://www.opengis.net/waterml/2.0 "
                              "http://schemas.opengis.net/waterml/2.0/waterml2.xsd\">\n";

void write_waterml(const struct dataset *dataset, struct text *ret)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    const struct record *record = &dataset->record;
    struct writer writer = {.dataset = dataset, .text = ret, .interval = daily_interval(dataset, arena)};
    timestamp_print(record->n > 0 ? record->time[0] : dataset->span.from, writer.first);
    timestamp_print(record->n > 0 ? record->time[record->n - 1] : dataset->span.from, writer.last);
    begin_collection(&writer);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        if (record->value[q])
            put_observation(&writer, q);
    text_puts(ret, "</wml2:Collection>\n");
}

static void begin_collection(struct writer *writer)
{
    struct text *text = writer->text;
    text_puts(text, opening);
    text_puts(text, " <gml:description>");
    struct text state;
    text_init(&state, LONGEST_STATE);
    about_add_state(writer->dataset, &state);
    text_markup(text, state.bytes);
    text_done(&state);
    text_putc(text, ' ');
    text_markup(text, about_caution());
    text_puts(text, "</gml:description>\n ");
    put_identifier(writer);
    text_printf(text,
                " <wml2:metadata>\n  <wml2:DocumentMetadata gml:id=\"document\">\n"
                "   <wml2:generationDate>%s</wml2:generationDate>\n"
                "   <wml2:version xlink:href=\"http://www.opengis.net/waterml/2.0\" xlink:title=\"WaterML 2.0\"/>\n"
                "  </wml2:DocumentMetadata>\n </wml2:metadata>\n <wml2:temporalExtent>\n  ",
                writer->last);
    put_period(writer, "extent", 0);
    text_puts(text, " </wml2:temporalExtent>\n");
}

static void put_identifier(struct writer *writer)
{
    const struct config *config = writer->dataset->config;
    struct text *text = writer->text;
    text_puts(text, "<gml:identifier codeSpace=\"");
    text_markup(text, *config->public_url ? config->public_url : config->network_id);
    text_printf(text, "\">%s_%04d-%02d_r%lld</gml:identifier>\n", writer->dataset->station->id, writer->dataset->year,
                writer->dataset->month, (long long)writer->dataset->revision);
}

static void put_observation(struct writer *writer, enum quantity quantity)
{
    struct text *text = writer->text;
    text_printf(text, " <wml2:observationMember>\n  <om:OM_Observation gml:id=\"observation%u\">\n", quantity);
    text_puts(text,
              "   <om:type xlink:href=\"" DEFINITIONS
              "observationType/waterml/2.0/MeasurementTimeseriesTVPObservation\" xlink:title=\"Time series\"/>\n");
    put_observation_metadata(writer);
    text_puts(text, "   <om:phenomenonTime>\n    ");
    put_period(writer, "period", quantity);
    text_printf(text,
                "   </om:phenomenonTime>\n   <om:resultTime><gml:TimeInstant gml:id=\"result%u\"><gml:timePosition>%s"
                "</gml:timePosition></gml:TimeInstant></om:resultTime>\n",
                quantity, writer->last);
    text_printf(text,
                "   <om:procedure>\n    <wml2:ObservationProcess gml:id=\"process%u\">\n     <wml2:processType "
                "xlink:href=\"" WATERML_DEFINITIONS "processType/Sensor\" xlink:title=\"Sensor\"/>\n"
                "    </wml2:ObservationProcess>\n   </om:procedure>\n",
                quantity);
    put_property(writer, quantity);
    put_station(writer, quantity);
    put_series(writer, quantity);
    text_puts(text, "  </om:OM_Observation>\n </wml2:observationMember>\n");
}

static void put_observation_metadata(struct writer *writer)
{
    struct text *text = writer->text;
    text_printf(text,
                "   <om:metadata>\n    <wml2:ObservationMetadata>\n     <gmd:contact gco:nilReason=\"missing\"/>\n"
                "     <gmd:dateStamp><gco:DateTime>%s</gco:DateTime></gmd:dateStamp>\n"
                "     <gmd:identificationInfo gco:nilReason=\"missing\"/>\n",
                writer->last);
    text_puts(text, "     <wml2:sampledMedium xlink:href=\"" WATERML_DEFINITIONS "medium/SurfaceWater\" "
                    "xlink:title=\"Surface water\"/>\n    </wml2:ObservationMetadata>\n   </om:metadata>\n");
}

static void put_property(struct writer *writer, enum quantity quantity)
{
    const struct quantity_info *info = quantity_info(quantity);
    struct text *text = writer->text;
    text_puts(text, "   <om:observedProperty xlink:href=\"");
    if (info->standard_name)
        text_printf(text, "http://vocab.nerc.ac.uk/standard_name/%s/", info->standard_name);
    else
        text_printf(text, "urn:quantity:%s", info->key);
    text_puts(text, "\" xlink:title=\"");
    text_markup(text, info->title);
    text_puts(text, "\"/>\n");
}

/* The station stands in the first observation; the others point to it. */
static void put_station(struct writer *writer, enum quantity quantity)
{
    const struct station *station = writer->dataset->station;
    struct text *text = writer->text;
    uint32_t before = record_columns(&writer->dataset->record) & ((1u << quantity) - 1);
    if (before != 0) {
        text_puts(text, "   <om:featureOfInterest xlink:href=\"#station\" xlink:title=\"");
        text_markup(text, station->name);
        text_puts(text, "\"/>\n");
        return;
    }
    char offset[TIMESTAMP_SIZE];
    timestamp_print_offset(0, station->utc_offset, offset);
    const char *sign = strpbrk(offset + strlen("1970-01-01T00:00:00"), "+-"); /* "Z" has none */
    text_puts(text, "   <om:featureOfInterest>\n    <wml2:MonitoringPoint gml:id=\"station\">\n");
    text_puts(text, "     <gml:identifier codeSpace=\"");
    text_markup(text, *writer->dataset->config->public_url ? writer->dataset->config->public_url
                                                           : writer->dataset->config->network_id);
    text_printf(text, "\">%s</gml:identifier>\n     ", station->id);
    put_element(text, "gml:name", station->name);
    text_puts(text, "     <sa:sampledFeature xlink:href=\"" WATERML_DEFINITIONS "medium/SurfaceWater\" "
                    "xlink:title=\"Surface water\"/>\n");
    text_printf(text,
                "     <sams:shape><gml:Point gml:id=\"position\" srsName=\"" DEFINITIONS
                "crs/EPSG/0/4326\"><gml:pos>%.9g %.9g</gml:pos></gml:Point></sams:shape>\n",
                station->latitude, station->longitude);
    text_printf(text,
                "     <wml2:timeZone><wml2:TimeZone><wml2:zoneOffset>%s</wml2:zoneOffset></wml2:TimeZone>"
                "</wml2:timeZone>\n    </wml2:MonitoringPoint>\n   </om:featureOfInterest>\n",
                sign ? sign : "+00:00");
}

static void put_series(struct writer *writer, enum quantity quantity)
{
    struct text *text = writer->text;
    const struct record *record = &writer->dataset->record;
    uint8_t usual_flag = most_frequent_flag(record, quantity);
    text_printf(text,
                "   <om:result>\n    <wml2:MeasurementTimeseries gml:id=\"series%u\">\n     <wml2:metadata>\n"
                "      <wml2:MeasurementTimeseriesMetadata>\n       <wml2:temporalExtent xlink:href=\"#period%u\"/>\n"
                "       <wml2:cumulative>false</wml2:cumulative>\n",
                quantity, quantity);
    if (writer->interval > 0) { /* a longer pause than three intervals is a gap: no line across it */
        text_puts(text, "       <wml2:maxGapPeriod>");
        written_print_duration(text, 3 * writer->interval);
        text_puts(text, "</wml2:maxGapPeriod>\n");
    }
    text_puts(text, "      </wml2:MeasurementTimeseriesMetadata>\n     </wml2:metadata>\n");
    put_defaults(writer, quantity, usual_flag);
    for (size_t row = 0; row < record->n; row++)
        put_point(writer, quantity, row, usual_flag);
    text_puts(text, "    </wml2:MeasurementTimeseries>\n   </om:result>\n");
}

static void put_defaults(struct writer *writer, enum quantity quantity, uint8_t flag)
{
    struct text *text = writer->text;
    text_puts(text, "     <wml2:defaultPointMetadata>\n      <wml2:DefaultTVPMeasurementMetadata>\n       ");
    put_quality(text, flag);
    text_puts(text, "\n       <wml2:uom code=\"");
    text_markup(text, quantity_info(quantity)->ucum);
    text_puts(text, "\"/>\n       <wml2:interpolationType xlink:href=\"" WATERML_DEFINITIONS
                    "interpolationType/Continuous\" xlink:title=\"Continuous\"/>\n"
                    "      </wml2:DefaultTVPMeasurementMetadata>\n     </wml2:defaultPointMetadata>\n");
}

static void put_point(struct writer *writer, enum quantity quantity, size_t row, uint8_t usual_flag)
{
    static const char begin_metadata[] = "<wml2:metadata><wml2:TVPMeasurementMetadata>";
    static const char end_metadata[] = "</wml2:TVPMeasurementMetadata></wml2:metadata>";
    const struct record *record = &writer->dataset->record;
    struct text *text = writer->text;
    double value = record->value[quantity][row];
    uint8_t flag = record->flag[quantity][row];
    char printed[TIMESTAMP_SIZE];
    text_puts(text, "     <wml2:point><wml2:MeasurementTVP>");
    put_element(text, "wml2:time", timestamp_print(record->time[row], printed));
    if (isnan(value)) {
        text_puts(text, "<wml2:value xsi:nil=\"true\"/>");
        text_puts(text, begin_metadata);
        text_puts(text, "<wml2:nilReason xlink:href=\"" DEFINITIONS "nil/OGC/0/missing\" xlink:title=\"missing\"/>");
        text_puts(text, end_metadata);
    } else {
        text_puts(text, "<wml2:value>");
        written_print(text, quantity, value);
        text_puts(text, "</wml2:value>");
        if (flag != usual_flag) {
            text_puts(text, begin_metadata);
            put_quality(text, flag);
            text_puts(text, end_metadata);
        }
    }
    text_puts(text, "</wml2:MeasurementTVP></wml2:point>\n");
}

static void put_period(struct writer *writer, const char *id, unsigned number)
{
    text_printf(writer->text,
                "<gml:TimePeriod gml:id=\"%s%u\"><gml:beginPosition>%s</gml:beginPosition><gml:endPosition>%s"
                "</gml:endPosition></gml:TimePeriod>\n",
                id, number, writer->first, writer->last);
}

static void put_quality(struct text *text, uint8_t flag)
{
    const char *word = flag == FLAG_PASS      ? "good"
                       : flag == FLAG_SUSPECT ? "suspect"
                       : flag == FLAG_FAIL    ? "poor"
                                              : "unchecked";
    text_printf(text, "<wml2:quality xlink:href=\"" WATERML_DEFINITIONS "quality/%s\" xlink:title=\"%s\"/>", word,
                word);
}

/* Missing values do not count: they say nothing by a quality. */
static uint8_t most_frequent_flag(const struct record *record, enum quantity quantity)
{
    static const uint8_t flags[] = {FLAG_PASS, FLAG_NOT_EVALUATED, FLAG_SUSPECT, FLAG_FAIL};
    size_t count[FLAG_MISSING + 1] = {0};
    uint8_t best = FLAG_PASS;
    for (size_t i = 0; i < record->n; i++)
        if (!isnan(record->value[quantity][i]) && record->flag[quantity][i] <= FLAG_MISSING)
            count[record->flag[quantity][i]]++;
    for (size_t i = 0; i < COUNT_OF(flags); i++)
        if (count[flags[i]] > count[best])
            best = flags[i];
    return best;
}

static void put_element(struct text *text, const char *name, const char *content)
{
    text_printf(text, "<%s>", name);
    text_markup(text, content);
    text_printf(text, "</%s>", name);
}
