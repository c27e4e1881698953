/* SPDX-License-Identifier: MIT */
#include "intake/draft_time.h"

#include "base/timestamp.h"

#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LATEST ((int64_t)4102444800000) /* 2100-01-01: what lies behind is a number */
enum { LONGEST_TIME = 60, LONGEST_FORMAT = 48, MOST_FORMATS = 8000, FEW_SAMPLES = 100 };

/* One that is tried. */
struct trial {
    char text[LONGEST_FORMAT];
    struct clock_format format;
    enum date_order order;
    bool has_loose_date, has_loose_hour; /* one digit is enough */
    bool has_hour;
    char mark; /* between the parts of the date; '\0': none, or a space */
};

struct time_formats {
    struct trial *list;
    size_t count;
    size_t *fits; /* room for counting, one a format */
    size_t last;  /* that a date was seen to have: the next one has it too */
};

static const struct {
    const char *text; /* '~' stands for the mark between the parts */
    enum date_order order;
    const char *marks;
} dates[] = {
    {"YYYY~MM~DD", DATE_YMD, "-/."}, {"DD~MM~YYYY", DATE_DMY, "./-"},  {"MM~DD~YYYY", DATE_MDY, "/-."},
    {"DD~MM~YY", DATE_DMY, "./-"},   {"MM~DD~YY", DATE_MDY, "/-."},    {"YY~MM~DD", DATE_YMD, "-/."},
    {"YYYYMMDD", DATE_YMD, " "},     {"DD~MON~YYYY", DATE_DMY, " -."}, {"DD~MON~YY", DATE_DMY, " -"},
    {"MON DD, YYYY", DATE_MDY, " "}, {"MON DD YYYY", DATE_MDY, " "},   {"YYYY~M~D", DATE_YMD, "-/."},
    {"D~M~YYYY", DATE_DMY, "./-"},   {"M~D~YYYY", DATE_MDY, "/-."},    {"D~M~YY", DATE_DMY, "./-"},
    {"M~D~YY", DATE_MDY, "/-."},     {"D~MON~YYYY", DATE_DMY, " -."},  {"D~MON~YY", DATE_DMY, " -"},
    {"MON D, YYYY", DATE_MDY, " "},  {"MON D YYYY", DATE_MDY, " "},
};
static const char *const clocks[] = {"hh:mm", "hh:mm:ss", "hh:mm:ss.s", "h:mm", "h:mm:ss", "h:mm:ss.s"};
static const char *const halves[] = {"", " AM", "AM"};
static const char *const zones[] = {"", "Z", " Z"};

/* How the times step where one order of day and month is meant. */
struct steps {
    size_t backward;
    int64_t longest;
};

/* The best format of each order that fits as many samples as any; NULL where none does. */
struct contest {
    const struct trial *trials[DATE_ORDER_COUNT];
    struct steps steps[DATE_ORDER_COUNT];
};

static void add_times(struct time_formats *formats, const char *date, const char *between, enum date_order order);
static void add_trial(struct time_formats *formats, const char *text, enum date_order order);
static bool reads(const struct trial *trial, const char *text, struct clock_reading *ret);
static size_t count_fits(const struct time_formats *formats, const struct time_sample *samples, size_t count);
static const struct trial *settle(const struct contest *contest, bool logs, struct time_finding *ret);
static const struct trial *best_of_order(const struct time_formats *formats, size_t most, enum date_order order,
                                         const struct time_sample *samples, size_t count);
static bool pads(const struct time_sample *samples, size_t count, bool of_hour);
static struct steps walk(const struct trial *trial, const struct time_sample *samples, size_t count);
static bool is_better(struct steps a, struct steps b, bool logs);

struct time_formats *time_formats_make(struct arena *arena)
{
    struct time_formats *formats = arena_alloc(arena, sizeof *formats);
    formats->list = arena_array(arena, MOST_FORMATS, sizeof *formats->list);
    formats->fits = arena_array(arena, MOST_FORMATS, sizeof *formats->fits);
    add_trial(formats, "iso", DATE_YMD);
    for (size_t i = 0; i < COUNT_OF(dates); i++) {
        for (const char *mark = dates[i].marks; *mark; mark++) {
            char date[LONGEST_FORMAT];
            snprintf(date, sizeof date, "%s", dates[i].text);
            for (char *at = date; *at; at++)
                *at = *at == '~' ? *mark : *at;
            add_trial(formats, date, dates[i].order);
            add_times(formats, date, " ", dates[i].order);
            add_times(formats, date, "T", dates[i].order);
            add_times(formats, date, ", ", dates[i].order);
        }
    }
    return formats;
}

enum time_looks time_looks(struct time_formats *formats, struct cell cell)
{
    struct clock_reading reading;
    int64_t of_day;
    char text[LONGEST_TIME];
    if (cell.kind == CELL_CIVIL || cell.kind == CELL_TIME)
        return cell.kind == CELL_CIVIL ? LOOKS_LIKE_DATE : LOOKS_LIKE_TIME;
    bool has_colon = cell.length > 0 && memchr(cell.text, ':', cell.length) != NULL;
    if (cell.kind != CELL_TEXT || cell.length < (has_colon ? 4 : 6) || cell.length >= LONGEST_TIME)
        return LOOKS_OTHER;
    double number;
    size_t digits = 0;
    for (size_t i = 0; i < cell.length; i++)
        digits += cell.text[i] >= '0' && cell.text[i] <= '9';
    bool is_number = cell_number(cell, '.', &number) || cell_number(cell, ',', &number);
    if (digits < 3 || (is_number && digits != 8))
        return LOOKS_OTHER;
    memcpy(text, cell.text, cell.length);
    text[cell.length] = '\0';
    if (has_colon && clock_read_time_of_day(text, cell.length, &of_day))
        return LOOKS_LIKE_TIME;
    for (size_t i = 0; i <= formats->count; i++) {
        size_t index = i == 0 ? formats->last : i - 1;
        if (!reads(&formats->list[index], text, &reading) || reading.local < 0 || reading.local >= LATEST)
            continue;
        formats->last = index;
        return LOOKS_LIKE_DATE;
    }
    return LOOKS_OTHER;
}

struct time_finding time_find(const struct time_formats *formats, const struct time_sample *samples, size_t count,
                              bool logs)
{
    struct time_finding finding = {.by = ""};
    size_t written = 0;
    for (size_t k = 0; k < count; k++)
        written += samples[k].text != NULL;
    if (written == 0 && count > 0) {
        finding.format = "iso";
        finding.is_of_workbook = true;
        finding.fits = count;
        return finding;
    }
    finding.fits = count_fits(formats, samples, count);
    if (finding.fits == 0)
        return finding;
    struct contest contest = {0};
    for (enum date_order order = 0; order < DATE_ORDER_COUNT; order++) {
        contest.trials[order] = best_of_order(formats, finding.fits, order, samples, count);
        if (contest.trials[order])
            contest.steps[order] = walk(contest.trials[order], samples, count);
    }
    const struct trial *best = settle(&contest, logs, &finding);
    struct clock_reading reading;
    finding.format = best->text;
    for (size_t k = 0; k < count && !finding.has_offsets; k++)
        finding.has_offsets = samples[k].text && reads(best, samples[k].text, &reading) && reading.has_offset;
    return finding;
}

/* How many samples each format fits, into formats->fits; returns the most. A few samples show most formats to be
 * hopeless. */
static size_t count_fits(const struct time_formats *formats, const struct time_sample *samples, size_t count)
{
    size_t *fits = formats->fits, most = 0;
    struct clock_reading reading;
    for (size_t stride = count / FEW_SAMPLES + 1;; stride = 1) {
        size_t least = most;
        most = 0;
        for (size_t i = 0; i < formats->count; i++) {
            bool is_hopeless = least > 0 && fits[i] < least;
            fits[i] = 0;
            for (size_t k = 0; k < count && !is_hopeless; k += stride)
                fits[i] += samples[k].text && reads(&formats->list[i], samples[k].text, &reading);
            most = fits[i] > most ? fits[i] : most;
        }
        if (stride == 1)
            return most;
    }
}

/* One order of day and month, by how the times step; where that is open, the more usual one, and the others named. */
static const struct trial *settle(const struct contest *contest, bool logs, struct time_finding *ret)
{
    static const enum date_order usual[2][DATE_ORDER_COUNT] = {{DATE_DMY, DATE_YMD, DATE_MDY},
                                                               {DATE_MDY, DATE_DMY, DATE_YMD}};
    const struct trial *best = NULL;
    size_t orders = 0, others = 0;
    bool has_halves = false;
    for (enum date_order order = 0; order < DATE_ORDER_COUNT; order++) {
        orders += contest->trials[order] != NULL;
        has_halves |= contest->trials[order] && strstr(contest->trials[order]->text, "AM");
    }
    for (size_t i = 0; i < DATE_ORDER_COUNT; i++) {
        enum date_order order = usual[has_halves][i];
        bool is_beaten = contest->trials[order] == NULL;
        for (enum date_order other = 0; other < DATE_ORDER_COUNT && !is_beaten; other++)
            is_beaten = contest->trials[other] && is_better(contest->steps[other], contest->steps[order], logs);
        if (is_beaten)
            continue;
        if (best)
            ret->others[others++] = contest->trials[order]->text;
        else
            best = contest->trials[order];
    }
    if (orders > 1 && others == 0)
        ret->by = logs ? "only so do the times step on evenly" : "only so do the times ascend";
    return best;
}

static void add_times(struct time_formats *formats, const char *date, const char *between, enum date_order order)
{
    for (size_t c = 0; c < COUNT_OF(clocks); c++) {
        for (size_t h = 0; h < COUNT_OF(halves); h++) {
            for (size_t z = 0; z < COUNT_OF(zones); z++) {
                char text[LONGEST_FORMAT];
                int length = snprintf(text, sizeof text, "%s%s%s%s%s", date, between, clocks[c], halves[h], zones[z]);
                if (length < LONGEST_FORMAT) /* half a format would be another one */
                    add_trial(formats, text, order);
            }
        }
    }
}

static void add_trial(struct time_formats *formats, const char *text, enum date_order order)
{
    struct trial *trial = &formats->list[formats->count];
    assert(formats->count < MOST_FORMATS);
    *trial = (struct trial){.order = order,
                            .has_loose_date = strchr(text, 'D') && !strstr(text, "DD"),
                            .has_loose_hour = strchr(text, 'h') && !strstr(text, "hh"),
                            .has_hour = strchr(text, 'h') != NULL};
    size_t mark = strcspn(text, "-/.h");
    trial->mark = text[mark] == 'h' ? '\0' : text[mark];
    snprintf(trial->text, sizeof trial->text, "%s", text);
    if (clock_format_parse(trial->text, &trial->format, NULL))
        formats->count++;
}

/* Most formats fail by their marks, which is quickly seen. */
static bool reads(const struct trial *trial, const char *text, struct clock_reading *ret)
{
    if ((trial->mark && !strchr(text, trial->mark)) || (trial->has_hour && !strchr(text, ':')))
        return false;
    return clock_read(&trial->format, text, strlen(text), ret);
}

/* Of those that fit most: ISO, else one that asks for two digits just where the texts show that small numbers get a
 * zero in front, else the first. */
static const struct trial *best_of_order(const struct time_formats *formats, size_t most, enum date_order order,
                                         const struct time_sample *samples, size_t count)
{
    const struct trial *best = NULL;
    bool pads_date = pads(samples, count, false), pads_hour = pads(samples, count, true);
    int least = 0;
    for (size_t i = 0; i < formats->count; i++) {
        const struct trial *trial = &formats->list[i];
        if (trial->order != order || formats->fits[i] < most)
            continue;
        int odd = (trial->has_loose_date == pads_date) + (trial->has_hour && trial->has_loose_hour == pads_hour);
        if (i == 0)
            return trial;
        if (!best || odd < least) {
            best = trial;
            least = odd;
        }
    }
    return best;
}

/* Does a date part, or an hour, begin with 0 somewhere? */
static bool pads(const struct time_sample *samples, size_t count, bool of_hour)
{
    for (size_t k = 0; k < count; k++) {
        const char *text = samples[k].text, *colon = text ? strchr(text, ':') : NULL;
        if (of_hour && colon && colon >= text + 2 && colon[-2] == '0')
            return true;
        for (const char *at = text; at && !of_hour && *at && *at != ':'; at++) {
            bool begins = at == text || !(at[-1] >= '0' && at[-1] <= '9');
            if (begins && *at == '0' && at[1] >= '0' && at[1] <= '9' && at[2] != ':')
                return true;
        }
    }
    return false;
}

static struct steps walk(const struct trial *trial, const struct time_sample *samples, size_t count)
{
    struct steps steps = {0, 0};
    struct clock_reading reading;
    int64_t previous = TIME_NONE;
    for (size_t k = 0; k < count; k++) {
        if (k > 0 && samples[k].file != samples[k - 1].file)
            previous = TIME_NONE;
        if (!samples[k].text || !reads(trial, samples[k].text, &reading))
            continue;
        int64_t step = previous == TIME_NONE ? 0 : reading.local - previous;
        previous = reading.local;
        steps.backward += step < 0;
        steps.longest = llabs(step) > steps.longest ? llabs(step) : steps.longest;
    }
    return steps;
}

/* Clearly: fewer steps back, or for loggers steps of which the longest is much shorter. A clock that is set back in
 * autumn makes one step back of an hour, in both. */
static bool is_better(struct steps a, struct steps b, bool logs)
{
    if (a.backward != b.backward)
        return a.backward < b.backward && (!logs || a.longest <= b.longest);
    return logs && a.longest < b.longest / 4;
}
