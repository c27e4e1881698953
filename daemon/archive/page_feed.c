/* SPDX-License-Identifier: MIT */
/* feed.atom: what is new or revised (RFC 4287). */
#include "archive/page.h"

#include "archive/about.h"
#include "archive/archive.h"
#include "archive/say.h"
#include "archive/summary.h"
#include "base/file.h"
#include "base/timestamp.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

enum { LONGEST_LINE = 2048 };

static void add_entry(struct text *text, const struct config *config, const struct page_revision *revision);
static void add_changes(struct text *text, const char *changes);
static void add_id(struct text *text, const char *of);
static void add_link(struct text *text, const struct config *config, const char *attributes, const char *path);

void page_feed_render(const struct page_network *network, struct text *ret)
{
    const struct config *config = network->view->config;
    char updated[TIMESTAMP_SIZE], id[256];
    timestamp_print(network->revision_count > 0 ? network->revisions[0].arrived : 0, updated);
    snprintf(id, sizeof id, "%s", config->network_id);
    text_puts(ret, "<?xml version=\"1.0\" encoding=\"utf-8\"?>\n<feed xmlns=\"http://www.w3.org/2005/Atom\" "
                   "xml:lang=\"en\">\n<title>");
    say(ret, config->network_name);
    text_puts(ret, ": new and revised records</title>\n<subtitle>");
    text_markup(ret, about_provisional());
    text_puts(ret, " The time of an entry is the arrival of the newest field file that was known when the record was"
                   " published.</subtitle>\n");
    add_id(ret, id);
    text_printf(ret, "<updated>%s</updated>\n<author><name>", updated);
    say(ret, *config->operator_name ? config->operator_name : config->network_name);
    text_puts(ret, "</name></author>\n");
    add_link(ret, config, "rel=\"self\" type=\"application/atom+xml\"", PAGE_FEED_PATH);
    add_link(ret, config, "rel=\"alternate\" type=\"text/html\"", "index.html");
    for (size_t k = 0; k < network->revision_count; k++)
        add_entry(ret, config, &network->revisions[k]);
    text_puts(ret, "</feed>\n");
}

static void add_entry(struct text *text, const struct config *config, const struct page_revision *revision)
{
    char id[512], updated[TIMESTAMP_SIZE], last[TIMESTAMP_SIZE], path[ARCHIVE_PATH_SIZE];
    snprintf(id, sizeof id, "%s/%s/%04d-%02d/%" PRId64, config->network_id, revision->station->id, revision->year,
             revision->month, revision->revision);
    text_puts(text, "<entry>\n<title>");
    say(text, revision->station->name);
    text_puts(text, ", ");
    summary_add_month(text, revision->year, revision->month);
    if (revision->revision > 1)
        text_printf(text, ", revision %" PRId64, revision->revision);
    text_puts(text, "</title>\n");
    add_id(text, id);
    text_printf(text, "<updated>%s</updated>\n", timestamp_print(revision->arrived, updated));
    add_link(text, config, "rel=\"alternate\" type=\"text/html\"", page_station_path(revision->station->id, path));
    if (revision->path)
        add_link(text, config, "rel=\"enclosure\" type=\"text/csv\"", revision->path);
    if (revision->year_path)
        add_link(text, config, "rel=\"related\" type=\"application/netcdf\" title=\"the whole year\"",
                 revision->year_path);
    const char *state = record_state_word(revision->state);
    text_printf(text, "<category term=\"%s\"/>\n<summary>%s record, %s", state,
                revision->revision > 1 ? "Revised" : "New", state);
    if (revision->last_time != TIME_NONE)
        text_printf(text, ", data until %s", timestamp_print(revision->last_time, last));
    text_puts(text, revision->year_path ? "; also in the file of the whole year." : ".");
    add_changes(text, revision->changes ? revision->changes : "");
    text_puts(text, "</summary>\n</entry>\n");
}

/* One sentence for each line. */
static void add_changes(struct text *text, const char *changes)
{
    char line[LONGEST_LINE];
    for (const char *at = changes, *stop; *at; at = *stop ? stop + 1 : stop) {
        stop = at + strcspn(at, "\n");
        snprintf(line, sizeof line, "%.*s", (int)(stop - at), at);
        text_putc(text, ' ');
        say(text, line);
        text_putc(text, '.');
    }
}

/* A name-based UUID (RFC 9562, version 8) of what the entry is about: the same wherever the archive is served. */
static void add_id(struct text *text, const char *of)
{
    char digits[SHA256_HEX_SIZE];
    sha256_hex(of, strlen(of), digits);
    text_printf(text, "<id>urn:uuid:%.8s-%.4s-8%.3s-a%.3s-%.12s</id>\n", digits, digits + 8, digits + 13, digits + 17,
                digits + 20);
}

/* Absolute where the archive has an address, relative where it has none. */
static void add_link(struct text *text, const struct config *config, const char *attributes, const char *path)
{
    const char *base = config->public_url ? config->public_url : "";
    text_printf(text, "<link %s href=\"", attributes);
    text_markup(text, base);
    text_puts(text, *base && !text_ends_with(base, "/") ? "/" : "");
    text_printf(text, "%s\"/>\n", path);
}
