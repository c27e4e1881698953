/* SPDX-License-Identifier: MIT */
#include "service/revise.h"

#include "archive/changes.h"
#include "intake/note_render.h"

#include <inttypes.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { LONGEST_FACTS = 1 << 20, LONGEST_NAME = 400, FACTS_OF_A_KIND = 500, LONGEST_LINE = 1500 };

static void add_drop(const struct dataset_drop *drop, struct text *text);
static const char *without_old(const char *history, int64_t last_old);
static bool add_rows(const struct dataset *dataset, const struct archive_file *csv, const char *known_sha256,
                     struct text *text);
static bool read_known(const char *path, const char *known_sha256, char **ret_bytes, size_t *ret_length);
static void name_copy(const struct config *config, const char *path, char ret[PATH_MAX]);

/* Notes and drops without end would make every month of a busy station heavy: the first ones stand for all. */
const char *revise_facts(const struct dataset *dataset, struct arena *arena)
{
    struct text text;
    text_init(&text, LONGEST_FACTS);
    text_printf(&text, "program version %s\nsettings %016" PRIx64 "\n", RILLWARD_VERSION,
                config_station_digest(dataset->config, dataset->station));
    for (size_t k = 0; k < dataset->drop_count && k < FACTS_OF_A_KIND; k++)
        add_drop(&dataset->drops[k], &text);
    for (size_t k = 0; k < dataset->note_count && k < FACTS_OF_A_KIND; k++) {
        text_puts(&text, "note ");
        note_render(&dataset->notes[k], dataset->station, &text);
        text_putc(&text, '\n');
    }
    for (size_t k = 0; k < dataset->barometer_count; k++)
        text_printf(&text, "barometer '%s'\n", dataset->barometers[k].id);
    text_printf(&text, "state %s\n", record_state_word(dataset->state));
    const char *ret = arena_strdup(arena, text.bytes);
    text_done(&text);
    return ret;
}

static void add_drop(const struct dataset_drop *drop, struct text *text)
{
    char name[LONGEST_NAME];
    text_make_visible(drop->path, name, sizeof name);
    text_printf(text, "file '%s' (SHA-256 %.8s\u2026)\n", name, drop->sha256);
}

const char *revise_changes(const struct dataset *dataset, const struct page_fact *page, const struct archive_file *csv,
                           const char *known_sha256, struct arena *arena)
{
    struct text text;
    text_init(&text, LONGEST_FACTS);
    changes_of_facts(page->facts, revise_facts(dataset, arena), &text);
    if (!add_rows(dataset, csv, known_sha256, &text))
        text_puts(&text, "Values were not compared: the file published before was not there any more\n");
    else if (text.length == 0)
        text_puts(&text, "Only the description of the record changed\n");
    const char *ret = arena_strdup(arena, text.bytes);
    text_done(&text);
    return ret;
}

static bool add_rows(const struct dataset *dataset, const struct archive_file *csv, const char *known_sha256,
                     struct text *text)
{
    char published[PATH_MAX], copy[PATH_MAX];
    CLEANUP(cleanup_free) char *before = NULL;
    size_t length;
    struct error ignored; /* what cannot be kept may not be compared after a cut, and is not what was asked for */
    snprintf(published, sizeof published, "%s/%s", dataset->config->archive, csv->path);
    name_copy(dataset->config, csv->path, copy);
    if (read_known(published, known_sha256, &before, &length))
        (void)file_write_whole(copy, before, length, &ignored);
    else if (!read_known(copy, known_sha256, &before, &length))
        return false;
    changes_of_rows(before, length, csv->content.bytes, csv->content.length, text);
    return true;
}

/* False where it is not what was published. */
static bool read_known(const char *path, const char *known_sha256, char **ret_bytes, size_t *ret_length)
{
    char sha256[SHA256_HEX_SIZE];
    struct error ignored;
    if (!file_exists(path) || !file_read(path, ARCHIVE_FILE_LIMIT, ret_bytes, ret_length, &ignored))
        return false;
    sha256_hex(*ret_bytes, *ret_length, sha256);
    if (strcmp(sha256, known_sha256) == 0)
        return true;
    free(*ret_bytes);
    *ret_bytes = NULL;
    return false;
}

void revise_forget(const struct config *config, const char *path)
{
    char copy[PATH_MAX];
    name_copy(config, path, copy);
    (void)unlink(copy); /* left behind it is never taken for what was published */
}

static void name_copy(const struct config *config, const char *path, char ret[PATH_MAX])
{
    const char *slash = strrchr(path, '/');
    snprintf(ret, PATH_MAX, "%s/published_%s", config->state, slash ? slash + 1 : path);
}

const char *revise_history(const char *history, int64_t revision, const char *changes, struct arena *arena)
{
    char line[LONGEST_LINE];
    size_t n = 0;
    history = without_old(history, revision - REVISE_HISTORY_MAX);
    for (const char *at = changes ? changes : ""; *at && n + 2 < sizeof line; at++) {
        bool is_last = !at[1];
        if (*at != '\n')
            line[n++] = *at;
        else if (!is_last) {
            line[n++] = ';';
            line[n++] = ' ';
        }
    }
    if (n + 2 >= sizeof line) /* cut between two sentences, never within a letter */
        while (n > 0 && line[n - 1] != ';')
            n--;
    line[n] = '\0';
    if (n == 0)
        return history;
    return arena_printf(arena, "%s%srevision %" PRId64 ": %s", history, *history ? "\n" : "", revision, line);
}

/* A revision tells of the same ones when it is drawn up first and ever after. */
static const char *without_old(const char *history, int64_t last_old)
{
    while (*history) {
        const char *number = history + strlen("revision "), *end = strchr(history, '\n');
        int64_t revision;
        if (!text_parse_integer(number, strcspn(number, ":"), &revision) || revision > last_old)
            return history;
        history = end ? end + 1 : "";
    }
    return history;
}
