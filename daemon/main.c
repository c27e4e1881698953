/* SPDX-License-Identifier: MIT */
/* The command line: one table of commands. Exit status: 0 fine, 1 something needs a hand, 2 wrong use or settings. */
#include "base/log.h"
#include "base/text.h"
#include "base/timestamp.h"
#include "config/config.h"
#include "intake/intake.h"
#include "service/alarms_command.h"
#include "service/bag_command.h"
#include "service/explain.h"
#include "service/layout_command.h"
#include "service/manual.h"
#include "service/notebook_command.h"
#include "service/progress.h"
#include "service/rebuild_command.h"
#include "service/rehearse.h"
#include "service/retry_command.h"
#include "service/review_command.h"
#include "service/service.h"
#include "service/status.h"
#include "service/target.h"
#include "service/verify_command.h"

#include <getopt.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { EXIT_FINE = 0, EXIT_NEEDS_HAND = 1, EXIT_WRONG = 2 };

struct arguments {
    const char *config_path;
    int64_t clock;
    bool as_json, prints_reference, is_reopening;
    const char *who, *until, *reason; /* alarms, review */
    int64_t from, to;                 /* rehearse */
    const char *against_path;         /* rehearse: NULL */
    char **rest;
    int rest_count;
};

struct command {
    const char *name;
    int (*run)(const struct arguments *arguments);
    bool needs_config;
    int words_least, words_most; /* beside the options */
    const char *help;
    const char *words; /* what they are; NULL: none */
};

static int run_serve(const struct arguments *arguments);
static int run_once(const struct arguments *arguments);
static int run_check(const struct arguments *arguments);
static int run_layout(const struct arguments *arguments);
static int run_notebook(const struct arguments *arguments);
static int run_status(const struct arguments *arguments);
static int run_alarms(const struct arguments *arguments);
static int run_explain(const struct arguments *arguments);
static int run_rehearse(const struct arguments *arguments);
static int run_review(const struct arguments *arguments);
static int run_verify(const struct arguments *arguments);
static int run_retry(const struct arguments *arguments);
static int run_rebuild(const struct arguments *arguments);
static int run_bag(const struct arguments *arguments);
static int run_backup(const struct arguments *arguments);
static void show_pages(void *context, int done, int total);
static void show_places(void *context, size_t places, size_t all);
static int run_service(const struct arguments *arguments, bool once);
static struct config *load(const char *path);
static bool parse(int count, char **words, struct arguments *ret);
static void print_usage(FILE *out);
static int run_help(const char *what);
static void print_manual(FILE *out, void (*print)(const struct manual *, struct text *));
static void print_settings_manual(const struct manual *manual, struct text *ret);
static int64_t now_of(const struct arguments *arguments);
static void print_answer(struct text *text, bool ok, const struct error *error);
static int exit_of(bool ok, const struct error *error, bool needs_hand);
static int wrong_use(const char *what, const char *word);
static bool wants_colour(void);

static const struct command commands[] = {
    {"serve", run_serve, true, 0, 0, "run until told to stop", NULL},
    {"once", run_once, true, 0, 0, "take what is in the inbox, derive, publish, deliver, and end", NULL},
    {"check", run_check, true, 0, 0,
     "read the settings and tell every mistake in them (--reference: list every setting)", NULL},
    {"layout", run_layout, false, 1, 100, "draft a layout for files never seen before, and try it on them", "FILE..."},
    {"notebook", run_notebook, true, 2, 2,
     "an empty file for field notes as a layout reads them, with what to write where: a workbook (.xlsx) or CSV",
     "LAYOUT TARGET"},
    {"status", run_status, true, 0, 0,
     "stations, last data, waiting and set-aside drops, alarms, notes, notices (--json)", NULL},
    {"alarms", run_alarms, true, 0, 1000,
     "list alarms, or answer them; history: all that became of one; test: a notice to somebody (--json)",
     "[list | acknowledge ALARM... | shelve ALARM | unshelve ALARM | history ALARM | test RECIPIENT...]"},
    {"explain", run_explain, true, 2, 3, "how one value came to be (--json)", "STATION TIME [QUANTITY]"},
    {"rehearse", run_rehearse, true, 0, 0,
     "what the rules would have announced over the stored history, and how that differs from the alarms (--json)",
     NULL},
    {"retry", run_retry, true, 0, 1000, "look again at drops that were set aside, at all or at these", "[DROP...]"},
    {"rebuild", run_rebuild, true, 0, 1000,
     "drop what can be made again and make it again from the originals, also after the database was lost",
     "[STATION...]"},
    {"review", run_review, true, 0, 3,
     "list what people have reviewed and what later facts would change, or say that a record is reviewed (--json)",
     "[STATION MONTH | STATION FROM TO]"},
    {"verify", run_verify, true, 0, 0, "the archive against its manifests, and the database's integrity", NULL},
    {"bag", run_bag, true, 3, 3, "a finished month with its originals as a BagIt package in a new folder",
     "STATION MONTH FOLDER"},
    {"backup", run_backup, true, 1, 1, "copy the database as it is at this moment, also while the service runs",
     "TARGET"},
};

/* The parser, the help, the manual and the completion all read this. */
static const struct manual_option switches[] = {
    {"against", 'a', false, "FILE", "rehearse: more settings, whose rules are compared with those of -c"},
    {"config", 'c', true, "FILE", "the settings"},
    {"clock", 'k', false, "TIME", "begin with this wall clock instead of the real one: rehearsals on old data"},
    {"from", 'f', false, "TIME", "rehearse: episodes that begin at this time or later"},
    {"json", 'j', false, NULL, "for machines"},
    {"reason", 'R', false, "TEXT", "alarms: why one is shelved; review: what was looked at"},
    {"reopen", 'o', false, NULL, "review: the span is provisional again"},
    {"reference", 'r', false, NULL, "check: list every setting"},
    {"to", 't', false, "TIME", "rehearse: episodes that begin before this time"},
    {"until", 'u', false, "TIME", "alarms shelve: its end, or how long (8 h)"},
    {"verbose", 'v', true, NULL, "tell more"},
    {"who", 'w', false, "NAME", "alarms, review: who answers; default: the account that runs the command"},
};

int main(int count, char **words)
{
    memory_keep_at_hand();
    log_open("/run/systemd/journal/socket");
    if (count == 3 && strcmp(words[1], "help") == 0)
        return run_help(words[2]);
    if (count < 2 || strcmp(words[1], "help") == 0 || strcmp(words[1], "--help") == 0 || strcmp(words[1], "-h") == 0) {
        print_usage(count < 2 ? stderr : stdout);
        return count < 2 ? EXIT_WRONG : EXIT_FINE;
    }
    if (strcmp(words[1], "--version") == 0) {
        printf("rillward %s\n", RILLWARD_VERSION);
        return EXIT_FINE;
    }
    for (size_t i = 0; i < COUNT_OF(commands); i++) {
        struct arguments arguments = {.clock = TIME_NONE, .from = TIME_NONE, .to = TIME_FOREVER};
        if (strcmp(commands[i].name, words[1]) != 0)
            continue;
        if (!parse(count - 1, words + 1, &arguments))
            return EXIT_WRONG;
        if (commands[i].needs_config && !arguments.config_path && !arguments.prints_reference)
            return wrong_use("the settings file is missing: give -c FILE to", words[1]);
        if (arguments.rest_count > commands[i].words_most)
            return wrong_use("not understood:", arguments.rest[commands[i].words_most]);
        if (arguments.rest_count < commands[i].words_least)
            return wrong_use("too few words after", words[1]);
        return commands[i].run(&arguments);
    }
    return wrong_use("unknown command", words[1]);
}

static int run_serve(const struct arguments *arguments)
{
    return run_service(arguments, false);
}

static int run_once(const struct arguments *arguments)
{
    return run_service(arguments, true);
}

static int run_service(const struct arguments *arguments, bool once)
{
    struct config *config = load(arguments->config_path);
    if (!config)
        return EXIT_WRONG;
    struct service_options options = {
        .config_path = arguments->config_path, .once = once, .clock_set = arguments->clock};
    bool needs_hand = false;
    struct error error;
    if (service_run(&options, config, &needs_hand, &error))
        return once && needs_hand ? EXIT_NEEDS_HAND : EXIT_FINE;
    log_error("%s", error.text);
    return error.kind == ERROR_CONFIG ? EXIT_WRONG : EXIT_NEEDS_HAND;
}

static int run_check(const struct arguments *arguments)
{
    if (arguments->prints_reference) {
        struct text reference;
        text_init(&reference, 1u << 20);
        config_print_reference(&reference);
        fputs(reference.bytes, stdout);
        text_done(&reference);
        return EXIT_FINE;
    }
    struct config *config = load(arguments->config_path);
    if (!config)
        return EXIT_WRONG;
    struct error error;
    size_t unsound = 0;
    for (size_t i = 0; i < config->layout_count; i++) {
        const struct layout *layout = &config->layouts[i];
        if (intake_check_layout(layout, &error))
            continue;
        fprintf(stderr, "%s:%d:%d: %s\n", layout->where.file, layout->where.line, layout->where.column, error.text);
        unsound++;
    }
    if (unsound > 0) {
        config_free(config);
        return EXIT_WRONG;
    }
    printf("%s: fine: %zu stations, %zu barometers, %zu layouts, %zu rules, %zu recipients\n", arguments->config_path,
           config->station_count, config->barometer_count, config->layout_count, config->rule_count,
           config->recipient_count);
    config_free(config);
    return EXIT_FINE;
}

static int run_layout(const struct arguments *arguments)
{
    struct text draft;
    struct error error;
    bool has_questions = false;
    text_init(&draft, (size_t)1 << 22);
    int64_t now = now_of(arguments);
    bool ok = layout_command_run(arguments->rest, (size_t)arguments->rest_count, now, &draft, &has_questions, &error);
    print_answer(&draft, ok, &error);
    return ok && !has_questions ? EXIT_FINE : EXIT_NEEDS_HAND;
}

static int run_notebook(const struct arguments *arguments)
{
    struct config *config = load(arguments->config_path);
    if (!config)
        return EXIT_WRONG;
    struct error error;
    struct text text;
    text_init(&text, 1u << 16);
    bool ok = notebook_command_run(config, arguments->rest[0], arguments->rest[1], &text, &error);
    print_answer(&text, ok, &error);
    config_free(config);
    return exit_of(ok, &error, false);
}

static int run_status(const struct arguments *arguments)
{
    struct config *config = load(arguments->config_path);
    if (!config)
        return EXIT_WRONG;
    struct error error;
    struct text text;
    bool needs_hand = false;
    text_init(&text, (size_t)1 << 28);
    struct status_options options = {
        .as_json = arguments->as_json, .in_colour = wants_colour(), .now = now_of(arguments)};
    struct store *store = store_open_to_read(config->state, &error);
    bool ok = store && status_render(config, store, &options, &text, &needs_hand, &error);
    print_answer(&text, ok, &error);
    store_close(store);
    config_free(config);
    return !ok ? (error.kind == ERROR_CONFIG ? EXIT_WRONG : EXIT_NEEDS_HAND) : needs_hand ? EXIT_NEEDS_HAND : EXIT_FINE;
}

static int run_alarms(const struct arguments *arguments)
{
    struct config *config = load(arguments->config_path);
    if (!config)
        return EXIT_WRONG;
    struct alarms_options options = {.words = arguments->rest,
                                     .word_count = arguments->rest_count,
                                     .who = arguments->who,
                                     .until = arguments->until,
                                     .reason = arguments->reason,
                                     .as_json = arguments->as_json,
                                     .now = now_of(arguments)};
    struct error error;
    struct text text;
    bool needs_hand = false;
    text_init(&text, (size_t)1 << 28);
    bool ok = alarms_command_run(config, &options, &text, &needs_hand, &error);
    fputs(text.bytes ? text.bytes : "", stdout);
    if (!ok)
        fprintf(stderr, "rillward: %s\n", error.text);
    text_done(&text);
    config_free(config);
    return exit_of(ok, &error, needs_hand);
}

static int run_explain(const struct arguments *arguments)
{
    struct explain_options options = {
        .station = arguments->rest[0], .quantity = QUANTITY_COUNT, .as_json = arguments->as_json};
    if (!timestamp_parse(arguments->rest[1], strlen(arguments->rest[1]), &options.time))
        return wrong_use("a time such as 2026-04-19T09:05:00Z is wanted, found", arguments->rest[1]);
    if (arguments->rest_count > 2 && (options.quantity = quantity_find(arguments->rest[2])) == QUANTITY_COUNT)
        return wrong_use("there is no quantity", arguments->rest[2]);
    struct config *config = load(arguments->config_path);
    if (!config)
        return EXIT_WRONG;
    struct error error;
    struct text text;
    text_init(&text, 1u << 20);
    struct store *store = store_open_to_read(config->state, &error);
    bool ok = store && explain_render(config, store, &options, &text, &error);
    print_answer(&text, ok, &error);
    store_close(store);
    config_free(config);
    return ok ? EXIT_FINE : EXIT_WRONG;
}

static int run_rehearse(const struct arguments *arguments)
{
    struct config *config = load(arguments->config_path);
    struct config *against = config && arguments->against_path ? load(arguments->against_path) : NULL;
    if (!config || (arguments->against_path && !against)) {
        config_free(config);
        return EXIT_WRONG;
    }
    struct error error;
    struct text text;
    text_init(&text, (size_t)1 << 28);
    struct progress shown;
    struct rehearse_options options = {.from = arguments->from,
                                       .to = arguments->to,
                                       .as_json = arguments->as_json,
                                       .now = now_of(arguments),
                                       .against = against,
                                       .against_name = arguments->against_path,
                                       .progress = show_places,
                                       .context = &shown};
    struct store *store = store_open_to_read(config->state, &error);
    progress_open(&shown);
    bool ok = store && rehearse_render(config, store, &options, &text, &error);
    progress_close(&shown);
    print_answer(&text, ok, &error);
    store_close(store);
    config_free(against);
    config_free(config);
    return ok ? EXIT_FINE : error.kind == ERROR_CONFIG ? EXIT_WRONG : EXIT_NEEDS_HAND;
}

static int run_review(const struct arguments *arguments)
{
    struct config *config = load(arguments->config_path);
    if (!config)
        return EXIT_WRONG;
    struct error error;
    struct text text;
    bool needs_hand = false;
    text_init(&text, (size_t)1 << 28);
    struct review_options options = {.words = arguments->rest,
                                     .word_count = arguments->rest_count,
                                     .who = arguments->who,
                                     .reason = arguments->reason,
                                     .is_reopening = arguments->is_reopening,
                                     .as_json = arguments->as_json,
                                     .now = now_of(arguments)};
    bool ok = review_command_run(config, &options, &text, &needs_hand, &error);
    print_answer(&text, ok, &error);
    config_free(config);
    return exit_of(ok, &error, needs_hand);
}

static int run_verify(const struct arguments *arguments)
{
    struct config *config = load(arguments->config_path);
    if (!config)
        return EXIT_WRONG;
    struct error error;
    bool needs_hand = false, ok = verify_command_run(config, stdout, &needs_hand, &error);
    if (!ok)
        fprintf(stderr, "rillward: %s\n", error.text);
    config_free(config);
    return ok && !needs_hand ? EXIT_FINE : EXIT_NEEDS_HAND;
}

static int run_retry(const struct arguments *arguments)
{
    struct config *config = load(arguments->config_path);
    if (!config)
        return EXIT_WRONG;
    struct error error;
    struct text text;
    text_init(&text, 1u << 16);
    bool ok = retry_command_run(config, arguments->rest, arguments->rest_count, &text, &error);
    print_answer(&text, ok, &error);
    config_free(config);
    return exit_of(ok, &error, false);
}

static int run_rebuild(const struct arguments *arguments)
{
    struct config *config = load(arguments->config_path);
    if (!config)
        return EXIT_WRONG;
    struct error error;
    bool needs_hand = false;
    bool ok = rebuild_command_run(config, arguments->rest, arguments->rest_count, now_of(arguments), stdout,
                                  &needs_hand, &error);
    if (!ok)
        fprintf(stderr, "rillward: %s\n", error.text);
    config_free(config);
    return ok && !needs_hand ? EXIT_FINE : !ok && error.kind == ERROR_CONFIG ? EXIT_WRONG : EXIT_NEEDS_HAND;
}

static int run_bag(const struct arguments *arguments)
{
    char **words = arguments->rest;
    struct config *config = load(arguments->config_path);
    if (!config)
        return EXIT_WRONG;
    struct error error;
    struct text text;
    text_init(&text, 1u << 16);
    struct bag_options options = {.station = words[0], .month = words[1], .target = words[2], .now = now_of(arguments)};
    bool ok =
        target_check(config, options.target, "folder", &error) && bag_command_run(config, &options, &text, &error);
    print_answer(&text, ok, &error);
    config_free(config);
    return exit_of(ok, &error, false);
}

static int run_backup(const struct arguments *arguments)
{
    const char *target = arguments->rest[0];
    struct config *config = load(arguments->config_path);
    if (!config)
        return EXIT_WRONG;
    struct error error;
    if (!target_check(config, target, "file", &error)) {
        fprintf(stderr, "rillward: %s\n", error.text);
        config_free(config);
        return EXIT_WRONG;
    }
    struct progress shown;
    struct store_progress progress = {.tell = show_pages, .context = &shown};
    struct store *store = store_open_to_read(config->state, &error);
    progress_open(&shown);
    bool ok = store && store_backup(store, target, &progress, &error);
    progress_close(&shown);
    if (ok)
        printf("'%s' is a sound copy of the database; the archive is copied by any tool, at any time\n", target);
    else
        fprintf(stderr, "rillward: %s\n", error.text);
    store_close(store);
    config_free(config);
    return ok ? EXIT_FINE : EXIT_NEEDS_HAND;
}

static void show_pages(void *context, int done, int total)
{
    progress_tell(context, "copying pages", (size_t)done, (size_t)total, clock_monotonic());
}

static void show_places(void *context, size_t places, size_t all)
{
    progress_tell(context, "playing places", places, all, clock_monotonic());
}

/* NULL after every mistake was told. */
static struct config *load(const char *path)
{
    struct config_problems problems;
    config_problems_init(&problems);
    struct config *config = config_load(path, &problems);
    for (size_t k = 0; !config && k < problems.count; k++)
        fprintf(stderr, "%s\n", config_problem_print(&problems.list[k], problems.arena));
    if (!config)
        fprintf(stderr, "rillward: %zu %s in the settings\n", problems.count,
                problems.count == 1 ? "mistake" : "mistakes");
    config_problems_done(&problems);
    return config;
}

static bool parse(int count, char **words, struct arguments *ret)
{
    struct option known[COUNT_OF(switches) + 1] = {0};
    char letters[2 * COUNT_OF(switches) + 1] = "";
    size_t used = 0;
    for (size_t i = 0; i < COUNT_OF(switches); i++) {
        int takes = switches[i].value ? required_argument : no_argument;
        known[i] = (struct option){switches[i].name, takes, NULL, switches[i].letter};
        if (switches[i].has_short) {
            letters[used++] = switches[i].letter;
            if (switches[i].value)
                letters[used++] = ':';
        }
    }
    int letter;
    while ((letter = getopt_long(count, words, letters, known, NULL)) != -1) {
        switch (letter) {
        case 'a': ret->against_path = optarg; break;
        case 'c': ret->config_path = optarg; break;
        case 'j': ret->as_json = true; break;
        case 'r': ret->prints_reference = true; break;
        case 'R': ret->reason = optarg; break;
        case 'o': ret->is_reopening = true; break;
        case 'u': ret->until = optarg; break;
        case 'w': ret->who = optarg; break;
        case 'v': log_set_level(LOG_LEVEL_DEBUG); break;
        case 'f':
        case 't':
            if (timestamp_parse(optarg, strlen(optarg), letter == 'f' ? &ret->from : &ret->to))
                break;
            wrong_use("a time such as 2026-03-01T00:00:00Z is wanted, found", optarg);
            return false;
        case 'k':
            if (timestamp_parse(optarg, strlen(optarg), &ret->clock))
                break;
            wrong_use("--clock wants a time such as 2026-04-22T12:00:00Z, found", optarg);
            return false;
        default: return false;
        }
    }
    ret->rest = words + optind;
    ret->rest_count = count - optind;
    return true;
}

static void print_usage(FILE *out)
{
    print_manual(out, manual_print_usage);
}

/* For the build, which installs what this prints. */
static int run_help(const char *what)
{
    static const struct {
        const char *word;
        void (*print)(const struct manual *, struct text *);
    } kinds[] = {{"--man", manual_print_page},
                 {"--man-settings", print_settings_manual},
                 {"--completion", manual_print_completion}};
    for (size_t i = 0; i < COUNT_OF(kinds); i++)
        if (strcmp(kinds[i].word, what) == 0) {
            print_manual(stdout, kinds[i].print);
            return EXIT_FINE;
        }
    return wrong_use("not understood:", what);
}

static void print_manual(FILE *out, void (*print)(const struct manual *, struct text *))
{
    struct manual_command rows[COUNT_OF(commands)];
    for (size_t i = 0; i < COUNT_OF(commands); i++)
        rows[i] =
            (struct manual_command){commands[i].name, commands[i].words, commands[i].help, commands[i].needs_config};
    struct manual manual = {rows, COUNT_OF(rows), switches, COUNT_OF(switches)};
    struct text text;
    text_init(&text, (size_t)1 << 20);
    print(&manual, &text);
    fputs(text.bytes, out);
    text_done(&text);
}

static void print_settings_manual(const struct manual *manual, struct text *ret)
{
    (void)manual; /* the settings have tables of their own */
    manual_print_settings(ret);
}

static int64_t now_of(const struct arguments *arguments)
{
    return arguments->clock == TIME_NONE ? clock_wall() : arguments->clock;
}

/* What a command found to the one stream, or why it could not to the other; the text is done with. */
static void print_answer(struct text *text, bool ok, const struct error *error)
{
    if (ok)
        fputs(text->bytes ? text->bytes : "", stdout);
    else
        fprintf(stderr, "rillward: %s\n", error->text);
    text_done(text);
}

/* Of a command whose words the user chose: what is wrong with them is wrong use. */
static int exit_of(bool ok, const struct error *error, bool needs_hand)
{
    if (!ok && (error->kind == ERROR_INPUT || error->kind == ERROR_CONFIG))
        return EXIT_WRONG;
    return !ok || needs_hand ? EXIT_NEEDS_HAND : EXIT_FINE;
}

static int wrong_use(const char *what, const char *word)
{
    fprintf(stderr, "rillward: %s '%s'; 'rillward help' lists the commands\n", what, word);
    return EXIT_WRONG;
}

static bool wants_colour(void)
{
    const char *no = getenv("NO_COLOR");
    return isatty(STDOUT_FILENO) && (!no || !*no);
}
