/* SPDX-License-Identifier: MIT */
#include "archive/page.h"

#include "archive/archive.h"
#include "archive/chart.h"
#include "archive/daily.h"
#include "archive/page_parts.h"
#include "archive/summary.h"
#include "base/timestamp.h"
#include "fixture.h"

#include <criterion/criterion.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SHA "3f79bb7b435b05321651daefd374cdc681dc06faa65e374e38337b88ca046dea"
/* Markup, quotes, a text that turns around, control bytes, broken UTF-8, and what a spreadsheet would run. */
#define HOSTILE "=HYPERLINK(\"x\") <img src=x onerror='a()'>&amp; \u202egpj.exe\u2066 \x1b[2J \xff</bdi></td></title>"

static const struct supply nothing_runs_out = {TIME_FOREVER, TIME_FOREVER};
static struct arena *arena;
static struct text text;
static struct config *config;
static struct page_station station;
static struct page_network network;
static char *folder;

static void make_station(void);
static void make_network(void);

static void start(void)
{
    arena = arena_new();
    text_init(&text, 1 << 24);
    folder = fixture_make_folder();
    make_station();
    make_network();
}

static void finish(void)
{
    fixture_remove_folder(folder);
    text_done(&text);
    arena_free(arena);
}

TestSuite(page, .init = start, .fini = finish);

/* ---- one station with a bit of everything ---- */

static void make_station(void)
{
    static const struct network_value values[] = {{QUANTITY_LEVEL, 1772323200000, 1.2113, FLAG_PASS},
                                                  {QUANTITY_OXYGEN, 1772310000000, 2.41, FLAG_SUSPECT}};
    static const struct network_record records[] = {
        {2026, 3, 2, "stations/heron-creek/2026/heron-creek_2026-03.csv", SHA, RECORD_REVIEWED}};
    static const struct network_waiting waiting[] = {{{1772323500000, 1772326800000}, "no air pressure", false},
                                                     {{1771322700000, 1771322800000}, "12 rows: level", true}};
    static const struct page_file files[] = {{"CSV", "stations/heron-creek/2026/heron-creek_2026-03.csv", SHA, 1234567},
                                             {"chart", "stations/heron-creek/2026/heron-creek_2026-03.svg", SHA, 999}};
    static const struct page_month months[] = {{2026, 3, 2, RECORD_REVIEWED, files, COUNT_OF(files)}};
    static const struct check_result checks[] = {
        {1772323200000, QUANTITY_OXYGEN, CHECK_AS_FOUND, 3, 8.9, 8.8, 0.1, false},
        {1772310000000, QUANTITY_LEVEL, CHECK_LEVEL, 2, 1.2, 1.2, 0, true}};
    static const struct page_original originals[] = {{41, "stations/heron-creek/originals/aaaaaaaaaaaaaaaa_march.csv",
                                                      "south/march.csv", SHA, "south-water", 1772400000000, 512, 40, 2},
                                                     {44, "network/originals/bbbbbbbbbbbbbbbb_book.csv",
                                                      "south/book.csv", SHA, "south-book", 1772400000000, 80, 9, 0}};
    static struct alarm alarms[] = {
        {.station = "heron-creek",
         .rule = "low-oxygen",
         .learnt = 1772323300000,
         .state = ALARM_UNACKNOWLEDGED,
         .episode = {1772320000000, 1772321800000, TIME_NONE, 1.9, 1772322000000, 2.2, 1772323200000, ""}},
        {.station = "heron-creek",
         .rule = "gone-rule",
         .learnt = 1772323300000,
         .state = ALARM_NORMAL,
         .episode = {1772310000000, 1772321800000, 1772313600000, 1.9, 1772322000000, 2.2, 1772323200000,
                     "seen <twice>"}}};
    struct dataset *dataset = fixture_month(arena);
    struct network_station *at = arena_alloc(arena, sizeof *at);
    config = (struct config *)(uintptr_t)dataset->config;
    *at = (struct network_station){.station = &config->stations[0],
                                   .first = 1772300000000,
                                   .last = 1772323200250,
                                   .values = values,
                                   .value_count = COUNT_OF(values),
                                   .month_count = 1,
                                   .records = records,
                                   .record_count = 1,
                                   .waiting = waiting,
                                   .waiting_count = 2,
                                   .alarms = alarms,
                                   .alarm_count = 1,
                                   .supply = nothing_runs_out};
    station = (struct page_station){.config = config,
                                    .at = at,
                                    .latest = dataset,
                                    .months = months,
                                    .month_count = 1,
                                    .checks = checks,
                                    .check_count = COUNT_OF(checks),
                                    .notes = dataset->notes,
                                    .note_count = dataset->note_count,
                                    .note_originals = originals + 1,
                                    .note_original_count = 1,
                                    .alarms = alarms,
                                    .alarm_count = COUNT_OF(alarms),
                                    .originals = originals,
                                    .original_count = 1};
}

static void make_network(void)
{
    static bool has_page[] = {true, false};
    struct network_station *stations = arena_array(arena, 2, sizeof *stations);
    struct network_view *view = arena_alloc(arena, sizeof *view);
    struct page_barometer *barometers = arena_array(arena, 1, sizeof *barometers);
    struct page_revision *revisions = arena_array(arena, 1, sizeof *revisions);
    struct station *silent = arena_alloc(arena, sizeof *silent);
    *silent = config->stations[0];
    silent->id = "quiet-pool";
    silent->name = "Quiet pool";
    silent->longitude += 0.02;
    stations[0] = *station.at;
    stations[1] =
        (struct network_station){.station = silent, .first = TIME_NONE, .last = TIME_NONE, .supply = nothing_runs_out};
    *view = (struct network_view){config, stations, 2};
    barometers[0] = (struct page_barometer){&config->barometers[0], 1772323200000};
    revisions[0] = (struct page_revision){.station = &config->stations[0],
                                          .year = 2026,
                                          .month = 3,
                                          .revision = 2,
                                          .last_time = 1772323200250,
                                          .arrived = 1772400000000,
                                          .path = station.months[0].files[0].path,
                                          .changes = "New: file 'b<i>.csv'\n2 rows came\n",
                                          .state = RECORD_PARTLY_REVIEWED};
    station.revisions = revisions;
    station.revision_count = 1;
    network = (struct page_network){.view = view,
                                    .has_page = has_page,
                                    .barometers = barometers,
                                    .barometer_count = 1,
                                    .alarms = station.at->alarms,
                                    .alarm_count = 1,
                                    .revisions = revisions,
                                    .revision_count = 1};
}

/* ---- into a folder, and looked at ---- */

static void put(const char *path)
{
    fixture_write(folder, path, text.bytes ? text.bytes : "");
    text_clear(&text);
}

/* All pages, and an empty file for everything that they may link to. */
static const struct page_recipient recipients[] = {
    {.id = "desk<b>", .newest = TIME_NONE, .busiest_day = TIME_NONE, .active_since = TIME_NONE},
    {.id = "on-call",
     .raised = 200,
     .newest = 1772323200250,
     .on_busiest_day = 160,
     .busiest_day = 1772287200000,
     .most_in_10_min = 11,
     .chattering = 50,
     .active = 2,
     .active_since = 1772287200000}};

static struct page_figures figures_of(size_t count)
{
    return (struct page_figures){.config = config,
                                 .days = 30,
                                 .utc_offset = 10 * HOUR_MS,
                                 .recipients = recipients,
                                 .recipient_count = count,
                                 .a_day_acceptable = 150,
                                 .in_10_min_acceptable = 10,
                                 .standing_below = 5};
}

static void write_all(void)
{
    const struct page_figures figures = figures_of(COUNT_OF(recipients));
    static const char *const others[] = {"about.txt", "network.json", "manifest-sha256.txt"};
    fixture_run("mkdir -p '%s/stations/heron-creek/2026' '%s/stations/heron-creek/originals' '%s/network/originals'",
                folder, folder, folder);
    for (size_t k = 0; k < COUNT_OF(others); k++)
        put(others[k]);
    put(station.months[0].files[0].path);
    put(station.originals[0].path);
    put(station.note_originals[0].path);
    struct archive_file files[ARCHIVE_WRITERS_MAX];
    const struct archive_writer *writers[ARCHIVE_WRITERS_MAX];
    size_t n = archive_writers_wanted(config, writers);
    archive_render_month(station.latest, files);
    for (size_t k = 0; k < n; k++) {
        if (text_ends_with(files[k].path, ".svg"))
            fixture_write(folder, files[k].path, files[k].content.bytes);
        archive_file_done(&files[k]);
    }
    page_style_render(&text);
    put(PAGE_STYLE_PATH);
    page_script_render(&text);
    put(PAGE_SCRIPT_PATH);
    page_network_render(&network, &text);
    put("index.html");
    page_alarms_render(&figures, &text);
    put(PAGE_ALARMS_PATH);
    page_feed_render(&network, &text);
    put(PAGE_FEED_PATH);
    page_station_render(&station, &text);
    put("stations/heron-creek/index.html");
    page_sheet_render(&station, &text);
    put("stations/heron-creek/field-sheet.html");
}

static bool says(const char *words)
{
    return text.bytes && strstr(text.bytes, words);
}

Test(page, all_are_sound_and_every_link_leads_to_a_file)
{
    write_all();
    cr_expect_eq(fixture_check("check_pages.py", folder), 0);
}

Test(page, are_sound_whatever_the_names_hold)
{
    struct station *place = &config->stations[0];
    place->name = place->datum = HOSTILE;
    config->network_name = config->operator_name = config->contact = HOSTILE;
    config->barometers[0].name = config->rules[0].title = HOSTILE;
    struct note *notes = arena_array(arena, station.note_count, sizeof *notes);
    for (size_t k = 0; k < station.note_count; k++) {
        notes[k] = station.notes[k];
        notes[k].text = HOSTILE;
    }
    station.notes = notes;
    struct page_original *original = arena_alloc(arena, sizeof *original);
    *original = station.originals[0];
    original->drop = original->layout = HOSTILE;
    station.originals = original;
    snprintf(((struct alarm *)(uintptr_t)station.alarms)[1].episode.detail, 192, "%s", HOSTILE);
    write_all();
    cr_expect_eq(fixture_check("check_pages.py", folder), 0);
    page_station_render(&station, &text);
    cr_expect_not(says("<img src=x"));
    cr_expect(says("=HYPERLINK(&quot;x&quot;) &lt;img src=x onerror=&#39;a()&#39;&gt;&amp;amp; \\u{202E}gpj.exe"));
}

Test(page, of_a_station_says_the_same_by_the_rows_and_by_what_was_computed_of_them)
{
    struct text by_rows;
    struct summary summaries[QUANTITY_COUNT];
    struct daily_hours hours = daily_hours_of(station.latest);
    struct dataset computed = *station.latest;
    summarize_all(&computed.record, summaries);
    computed.record = (struct record){0};
    computed.summaries = summaries;
    computed.hours = &hours;
    text_init(&by_rows, 1 << 20);
    page_station_render(&station, &by_rows);
    page_sheet_render(&station, &by_rows);
    cr_assert(strstr(by_rows.bytes, "Chart of ") && strstr(by_rows.bytes, "This month in numbers") &&
              strstr(by_rows.bytes, "Oxygen was below "));
    station.latest = &computed;
    text_clear(&text);
    page_station_render(&station, &text);
    page_sheet_render(&station, &text);
    cr_expect_str_eq(text.bytes, by_rows.bytes);
    text_done(&by_rows);
}

Test(page, a_broken_page_is_told_from_a_sound_one)
{
    static const struct {
        const char *sound, *broken;
    } rows[] = {
        {"<h1>", "<h1 style=\"color:red\">"},
        {"</h1>", "</h2>"},
        {"<main>", "<main><script>a()</script>"},
        {"<main>", "<main><script src=\"other.js\" defer></script>"},
        {"lang=\"en\"", ""},
        {"href=\"about.txt\"", "href=\"gone.txt\""},
        {"default-src 'none'; ", ""},
        {"href=\"about.txt\"", "href=\"https://example.org/\""},
        {"<th scope=\"row\">", "<th>"},
    };
    write_all();
    page_network_render(&network, &text);
    char *sound = arena_strdup(arena, text.bytes);
    for (size_t k = 0; k < COUNT_OF(rows); k++) {
        const char *at = strstr(sound, rows[k].sound);
        cr_assert_not_null(at, "%s", rows[k].sound);
        fixture_write(
            folder, "index.html",
            arena_printf(arena, "%.*s%s%s", (int)(at - sound), sound, rows[k].broken, at + strlen(rows[k].sound)));
        cr_expect_eq(fixture_check("check_pages.py", folder), 1, "%s", rows[k].broken);
    }
}

Test(page, of_the_network_equals_the_golden_page)
{
    page_network_render(&network, &text);
    const char *golden = fixture_read(arena, fixture_here(), "golden/index.html");
    cr_assert_not_null(golden);
    cr_assert_str_eq(text.bytes, golden);
}

Test(page, of_the_network_links_only_stations_that_have_a_page)
{
    page_network_render(&network, &text);
    cr_expect(says("href=\"stations/heron-creek/index.html\""));
    cr_expect_not(says("quiet-pool/index.html"));
    cr_expect(says("Quiet pool"));
    cr_expect(says("no data yet"));
}

Test(page, of_the_network_says_flags_in_words_and_what_needs_a_hand)
{
    page_network_render(&network, &text);
    cr_expect(says("2.41 <span class=\"flag\">suspect</span>"));
    cr_expect(says("still so, unacknowledged"));
    cr_expect(says("no air pressure"));
    cr_expect(says("<strong>Provisional.</strong>"));
    network.alarm_count = 0;
    ((struct network_station *)(uintptr_t)network.view->stations)[0].waiting_count = 0;
    text_clear(&text);
    page_network_render(&network, &text);
    cr_expect(says("Nothing: no alarm is open"));
}

Test(page, of_the_network_puts_pressing_alarms_first)
{
    struct rule *rules = arena_array(arena, 2, sizeof *rules);
    rules[0] = config->rules[0];
    rules[1] = config->rules[0];
    rules[1].id = "pressing";
    rules[1].title = "Fish at the surface";
    rules[1].priority = PRIORITY_HIGH;
    config->rules = rules;
    config->rule_count = 2;
    struct alarm alarms[] = {station.alarms[0], station.alarms[0]};
    alarms[1].rule = "pressing";
    network.alarms = alarms;
    network.alarm_count = 2;
    page_network_render(&network, &text);
    cr_expect_lt(strstr(text.bytes, "Fish at the surface"), strstr(text.bytes, "Low oxygen"));
}

Test(page, shows_alarms_of_barometers_and_drops_without_a_link)
{
    struct alarm alarms[] = {station.alarms[0], station.alarms[0]};
    alarms[0].station = "mill-roof";
    alarms[1].station = "north/<x>.csv";
    network.alarms = alarms;
    network.alarm_count = 2;
    page_network_render(&network, &text);
    cr_expect(says("<div><bdi>Mill roof</bdi>: "));
    cr_expect(says("<div><bdi>north/&lt;x&gt;.csv</bdi>: "));
}

Test(page, of_a_station_shows_everything_behind_its_record)
{
    static const char *const words[] = {"Heron Creek at the footbridge",
                                        "UTC+10:00",
                                        "Field sheet",
                                        "<img src=\"../../stations/heron-creek/2026/",
                                        "alt=\"Chart of Heron Creek at the footbridge, March 2026.",
                                        "1.2\u00a0MB",
                                        "<code title=\"SHA-256 " SHA "\">3f79bb7b435b</code>",
                                        "Hand readings and checks",
                                        "+0.10\u00a0mg/L",
                                        "first: it ties",
                                        "Water level by staff: ",
                                        "staff, small waves",
                                        "south/book.csv</bdi></a>, line\u00a04",
                                        "returned to normal",
                                        "seen &lt;twice&gt;",
                                        "Waits",
                                        "gauge zero, 0.412 m below mean sea level",
                                        "from the conductivity; 12.50 where that is missing",
                                        "33.8651\u00b0\u00a0S, 151.2093\u00b0\u00a0E",
                                        "40, 2 refused",
                                        "without daylight saving"};
    page_station_render(&station, &text);
    for (size_t k = 0; k < COUNT_OF(words); k++)
        cr_expect(says(words[k]), "%s", words[k]);
}

static size_t count(const char *words)
{
    size_t n = 0;
    for (const char *at = strstr(text.bytes, words); at; at = strstr(at + 1, words))
        n++;
    return n;
}

/* `n` stations like the first one, all with pages. */
static void make_many(size_t n)
{
    struct network_station *many = arena_array(arena, n, sizeof *many);
    bool *has_page = arena_array(arena, n, sizeof *has_page);
    struct network_view *view = arena_alloc(arena, sizeof *view);
    for (size_t i = 0; i < n; i++) {
        struct station *one = arena_alloc(arena, sizeof *one);
        *one = config->stations[0];
        one->name = arena_printf(arena, "Reach %03zu", i);
        many[i] = (struct network_station){.station = one, .first = TIME_NONE, .last = TIME_NONE};
        has_page[i] = true;
    }
    many[70].alarms = station.at->alarms;
    many[70].alarm_count = station.at->alarm_count;
    *view = (struct network_view){config, many, n};
    network.view = view;
    network.has_page = has_page;
}

Test(page, of_a_large_network_shows_its_stations_in_groups_to_open)
{
    make_many(60);
    page_network_render(&network, &text);
    cr_expect_eq(count("<details"), 0, "one screenful or two need none");
    text_clear(&text);
    make_many(130);
    page_network_render(&network, &text);
    cr_expect_eq(count("<details class=\"group\">\n<summary><bdi>Reach "), 6);
    cr_expect_eq(count("<tr><th scope=\"row\"><a href=\"stations/"), 131, "each station once, and the one to visit");
    cr_expect(says("<bdi>Reach 050</bdi> to <bdi>Reach 074</bdi> <small>25 stations; <span class=\"mark\" "
                   "aria-hidden=\"true\">\u25b2</span> 1 with an alarm; newest data"));
    cr_expect(says("<bdi>Reach 125</bdi> to <bdi>Reach 129</bdi> <small>5 stations; newest data"));
}

static bool is_in_script(const char *words)
{
    text_clear(&text);
    page_script_render(&text);
    return says(words);
}

/* What the script puts over a picture lies where the picture has it. */
Test(page, the_script_knows_the_geometry_of_the_pictures)
{
    struct dataset *dataset = fixture_month(arena);
    enum quantity panels[CHART_PANELS_MAX];
    size_t n = chart_panels(dataset, panels);
    double left, width;
    int top, foot = chart_height(panels, 0) - CHART_HEAD;
    chart_render(dataset, &text);
    const char *frame = strstr(text.bytes, "<svg x=\"");
    cr_assert(frame && sscanf(frame, "<svg x=\"%lf%%\" y=\"%d\" width=\"%lf%%", &left, &top, &width) == 3, "%.60s",
              frame ? frame : "no frame");
    cr_expect_eq(top, CHART_HEAD + CHART_PANEL_HEAD);
    char *words = x_printf("left = %g, share = %g,", left / 100, width / 100);
    cr_expect(is_in_script(words), "%s", words);
    free(words);
    words = x_printf("head = %d, foot = %d,", CHART_HEAD, foot);
    cr_expect(n > 0 && is_in_script(words), "%s", words);
    free(words);
}

Test(page, names_the_worst_value_of_a_band_by_the_end_that_it_went_past)
{
    struct rule band = config->rules[0];
    band.kind = RULE_OUTSIDE;
    band.low = 3;
    band.high = 12;
    config->rules = &band;
    struct alarm alarm = station.at->alarms[0];
    alarm.rule = band.id;
    alarm.episode.detail[0] = '\0';
    alarm.episode.worst = 2;
    part_alarm_values(&text, config, &alarm, 0);
    cr_expect(says("lowest ") && !says("highest "), "%s", text.bytes);
    text_clear(&text);
    alarm.episode.worst = 13;
    part_alarm_values(&text, config, &alarm, 0);
    cr_expect(says("highest ") && !says("lowest "), "%s", text.bytes);
}

Test(page, links_to_former_revisions_that_were_kept)
{
    const struct page_file kept = {"CSV", "stations/heron-creek/2026/revisions/2026-03_r1/heron-creek_2026-03.csv", SHA,
                                   2048};
    struct page_revision list[2] = {station.revisions[0], station.revisions[0]};
    page_station_render(&station, &text);
    cr_expect_not(says("As it was:"), "nothing is kept");
    list[1].revision = 1;
    list[1].files = &kept;
    list[1].file_count = 1;
    station.revisions = list;
    station.revision_count = 2;
    text_clear(&text);
    page_station_render(&station, &text);
    cr_expect(says("<a href=\"../../stations/heron-creek/2026/revisions/2026-03_r1/heron-creek_2026-03.csv\">CSV</a> "
                   "<small>2\u00a0kB</small> <code title=\"SHA-256 " SHA "\">"));
}

Test(page, of_a_station_without_data_is_sound)
{
    struct network_station silent = network.view->stations[1];
    station = (struct page_station){.config = config, .at = &silent};
    page_station_render(&station, &text);
    cr_expect(says("no data yet"));
    cr_expect_not(says("<img"));
    text_clear(&text);
    page_sheet_render(&station, &text);
    cr_expect(says("No data yet."));
    cr_expect(says(">SpC meter "), "it may have any sensor");
}

Test(page, says_where_older_lines_are_when_a_list_is_cut)
{
    page_station_render(&station, &text);
    cr_expect_not(says("Older ones stand"));
    station.has_more_notes = true;
    text_clear(&text);
    page_station_render(&station, &text);
    cr_expect(says("Older ones stand in the records\u2019 metadata."));
}

Test(page, to_print_asks_in_the_order_of_the_notebook)
{
    static const char *const rows[] = {">Time ",          ">Staff ",    ">Tape down ",        ">Logger out ",
                                       ">Logger in ",     ">DO meter ", ">DO meter cleaned ", ">Logger clock ",
                                       ">Logger serial ", ">Remarks "};
    config->stations[0].tape_point = 3.1;
    page_sheet_render(&station, &text);
    const char *at = strstr(text.bytes, "class=\"blank\"");
    for (size_t k = 0; k < COUNT_OF(rows); k++) {
        const char *found = strstr(at, rows[k]);
        cr_assert_not_null(found, "%s", rows[k]);
        at = found;
    }
    cr_expect_not(says(">SpC meter "), "the station has no such sensor");
    cr_expect(says("Lowest to highest"));
    cr_expect(says("no check so far"));
}

Test(page, a_station_tells_what_each_revision_changed_and_why)
{
    page_station_render(&station, &text);
    cr_expect(says("<h2>Revisions</h2>"));
    cr_expect(says("b&lt;i&gt;.csv"));
    cr_expect(says("2 rows came"));
    cr_expect(says("partly reviewed</td>"));
    text_clear(&text);
    ((struct page_revision *)(uintptr_t)station.revisions)[0].changes = "";
    page_station_render(&station, &text);
    cr_expect(says("Not told</td>"));
}

Test(page, of_the_network_says_where_to_go_why_and_what_to_bring)
{
    page_network_render(&network, &text);
    cr_expect(says("<h2>Where to go next</h2>"));
    const char *table = strstr(text.bytes, "class=\"cards visits\"");
    cr_assert_not_null(table);
    const char *row = strstr(table, "Heron Creek at the footbridge");
    cr_assert_not_null(row);
    cr_expect(strstr(row, "still so, since ") && strstr(row, "an oxygen meter, and what cleans the sensor"));
    cr_expect(strstr(row, "Readings wait: ") && strstr(row, "what offloads the barometer"));
    cr_expect(strstr(row, "<a href=\"stations/heron-creek/field-sheet.html\">Field sheet</a>"));
    config->rules[0].quantity = QUANTITY_SECOND_TEMPERATURE;
    text_clear(&text);
    page_network_render(&network, &text);
    cr_expect(says("a thermometer") && !says("an oxygen meter"));
    struct network_station *first = &((struct network_station *)(uintptr_t)network.view->stations)[0];
    first->supply.memory_full = 1775000000000; /* 2026-03-31T23:33:20Z, and the station is ten hours ahead */
    first->supply.battery_empty = 1774000000000;
    text_clear(&text);
    page_network_render(&network, &text);
    cr_expect(says(
        "Its logger: battery empty about <time datetime=\"2026-03-20\">20\u00a0Mar\u00a02026</time>, memory full about "
        "<time datetime=\"2026-04-01\">1\u00a0Apr\u00a02026</time>"));
    cr_expect(says("new batteries for the logger"));
    first->alarm_count = 0;
    first->waiting_count = 0;
    text_clear(&text);
    page_network_render(&network, &text);
    cr_expect_not(says("Where to go next"), "nothing asks for a visit");
}

Test(page, sheet_says_what_the_logger_runs_out_of_where_that_is_known)
{
    page_sheet_render(&station, &text);
    cr_expect_not(says("offloaded and started anew"));
    ((struct network_station *)(uintptr_t)station.at)->supply.memory_full = 1775000000000;
    text_clear(&text);
    page_sheet_render(&station, &text);
    cr_expect(says("offloaded and started anew") && says("memory full about <time datetime=\"2026-04-01\">"));
    cr_expect_not(says("New batteries <"), "nothing is known of its battery");
    ((struct station *)(uintptr_t)station.at->station)->battery_lasts = 180 * DAY_MS;
    text_clear(&text);
    page_sheet_render(&station, &text);
    cr_expect(says("New batteries <"));
}

Test(page, of_alarms_tells_each_recipient_s_figures_beside_what_is_acceptable)
{
    struct page_figures figures = figures_of(COUNT_OF(recipients));
    page_alarms_render(&figures, &text);
    cr_expect(says("desk&lt;b&gt;"));
    cr_expect(says(">0</td>"));
    cr_expect(says(">200, newest <time datetime=\"2026-03-01\">1\u00a0Mar\u00a02026</time></td>"));
    cr_expect(says(">160 on <time datetime=\"2026-03-01\">1\u00a0Mar\u00a02026</time> <span class=\"flag\">more than "
                   "acceptable</span></td>"));
    cr_expect(says(">11 <span class=\"flag\">more than acceptable</span></td>"));
    cr_expect(says(">25\u00a0% <span class=\"flag\">more than acceptable</span></td>"));
    cr_expect(says(">2, oldest <time datetime=\"2026-03-01\">"));
    cr_expect(says("up to 150 a day") && says("up to 10<") && says("under 5, longer than a day"));
    figures.recipient_count = 0;
    text_clear(&text);
    page_alarms_render(&figures, &text);
    cr_expect(says("The settings name nobody who is told."));
}

Test(page, feed_gives_every_revision_its_own_lasting_name)
{
    page_feed_render(&network, &text);
    char *first = arena_strdup(arena, strstr(text.bytes, "<entry>"));
    cr_expect(
        says("<link rel=\"enclosure\" type=\"text/csv\" href=\"https://water.example.org/stations/heron-creek/2026/"));
    cr_expect(says("<updated>2026-03-01T21:20:00Z</updated>"));
    cr_expect(says("March 2026, revision 2</title>"));
    cr_expect(says("<category term=\"partly reviewed\"/>"));
    cr_expect(says("b&lt;i&gt;.csv"), "what it changed, and why");
    cr_expect(says(". 2 rows came.</summary>"));
    ((struct page_revision *)(uintptr_t)network.revisions)[0].revision = 3;
    config->public_url = "";
    text_clear(&text);
    page_feed_render(&network, &text);
    char *second = strstr(text.bytes, "<entry>");
    cr_expect_str_neq(strstr(first, "<id>"), strstr(second, "<id>"));
    cr_expect(strncmp(strstr(first, "<id>"), strstr(second, "<id>"), 49) != 0);
    cr_expect(says("href=\"stations/heron-creek/2026/"), "relative where the archive has no address");
}

Test(page, feed_is_sound_without_any_record)
{
    write_all();
    network.revision_count = 0;
    page_feed_render(&network, &text);
    put(PAGE_FEED_PATH);
    cr_expect_eq(fixture_check("check_pages.py", folder), 0);
}

Test(page, writes_the_same_bytes_twice)
{
    page_station_render(&station, &text);
    page_sheet_render(&station, &text);
    page_network_render(&network, &text);
    page_feed_render(&network, &text);
    char *first = arena_strdup(arena, text.bytes);
    text_clear(&text);
    page_station_render(&station, &text);
    page_sheet_render(&station, &text);
    page_network_render(&network, &text);
    page_feed_render(&network, &text);
    cr_expect_str_eq(text.bytes, first);
}

Test(page, map_labels_do_not_cover_each_other_or_the_marks)
{
    enum { PLACES = 40 };
    struct network_station *stations = arena_array(arena, PLACES, sizeof *stations);
    bool *has_page = arena_array(arena, PLACES, sizeof *has_page);
    for (size_t k = 0; k < PLACES; k++) {
        struct station *place = arena_alloc(arena, sizeof *place);
        *place = config->stations[0];
        place->id = arena_printf(arena, "place-%zu", k);
        place->longitude += 0.001 * (double)(k * 7 % 20);
        place->latitude += 0.001 * (double)(k * 11 % 13);
        stations[k] = (struct network_station){
            .station = place, .first = TIME_NONE, .last = TIME_NONE, .supply = nothing_runs_out};
    }
    struct network_view view = {config, stations, PLACES};
    network.view = &view;
    network.has_page = has_page;
    network.barometer_count = network.alarm_count = network.revision_count = 0;
    page_network_render(&network, &text);
    struct {
        double left, right, y;
    } labels[PLACES];
    size_t n = 0;
    for (const char *at = strstr(text.bytes, "<svg"); (at = strstr(at, "<text x=\"")); at++) {
        char anchor[8], id[64];
        double x, y;
        if (sscanf(at, "<text x=\"%lf\" y=\"%lf\" text-anchor=\"%7[a-z]\">%63[^<]", &x, &y, anchor, id) != 4)
            continue;
        double width = 6 * (double)strlen(id), left = *anchor == 's' ? x : *anchor == 'e' ? x - width : x - width / 2;
        cr_expect(left >= 0 && left + width <= 420, "%s", id);
        for (size_t k = 0; k < n; k++)
            cr_expect(left >= labels[k].right || left + width <= labels[k].left || fabs(y - labels[k].y) >= 12, "%s",
                      id);
        labels[n].left = left;
        labels[n].right = left + width;
        labels[n++].y = y;
    }
    cr_expect_gt(n, PLACES / 3);
}
