/* SPDX-License-Identifier: MIT */
#include "intake/draft_words.h"

#include "base/text.h"

#include <string.h>

enum { LONGEST_HINT = 200 };

/* Patterns for single words, without accents. A word may fit several. */
static const struct {
    uint64_t clue;
    const char *words; /* with blanks between */
} vocabulary[] = {
    {CLUE_PRESSURE,
     "press* pres druck* *druck presion pressao pression pressione druk *druk trykk* tryck* tryk* baro* bp"},
    {CLUE_AIR, "air baro* bp atm atmos* luft* aire aria ar lucht* barometer* barometr*"},
    {CLUE_WATER, "water wasser* agua eau acqua vann* vatten* vand* sub submerged"},
    {CLUE_TEMPERATURE, "temp* *temp *temperatur t wt tw at ta"},
    {CLUE_OXYGEN, "do odo oxy* o2 *sauerstoff* oxig* ossigeno zuurstof* oksygen* syre* ilt od"},
    {CLUE_SATURATION, "sat sat% satur* *sattigung* saetti* dosat dopct verzadig* metning* mattnad*"},
    {CLUE_CONDUCTIVITY, "cond* spc spcond* leitf* *leitfahigkeit condut* ec ec25 geleid* ledning* konduk* sc ct lf"},
    {CLUE_SPECIFIC, "spec* spc spcond* sp spez* espec* speci* 25 ec25 sc sc25 25c"},
    {CLUE_SALINITY, "sal salin* *salz* zout* salt*"},
    {CLUE_BATTERY, "bat batt* bater* *batt batter* akku* volt* spannung pile *spannung accu*"},
    {CLUE_DEPTH,
     "depth* level* tiefe* *tiefe pegel* wasserstand nivel profund* niveau profondeur diepte waterhoogte dybde "
     "djup* stage *stand livello profond* head"},
    {CLUE_SERIAL, "serial* sn s/n seriennummer* serien* serie serienr *seriennr serienummer* matricola"},
    {CLUE_STATION, "site* station* location loc place point messstelle* standort ort stelle estacion sitio lugar punto "
                   "punkt lieu local stazione locatie plaats sted plats stasjon"},
    {CLUE_TIME, "time* date* datetime datum* zeit* uhrzeit when fecha* hora* heure* data ora tijd* tid klokke* dato "
                "timestamp utc gmt"},
    {CLUE_REMARK, "remark* comment* note notes bemerk* anmerk* kommentar* observ* obs nota notas remarque* opmerk* "
                  "merknad* anm* osserva* text"},
    {CLUE_KIND, "what kind action event* activity type was art que tipo evento quoi wat hva vad hvad cosa done"},
    {CLUE_OF, "of quantity param* variable messgrosse* grosse magnitud de von"},
    {CLUE_VALUE, "value* reading wert messwert valor valeur waarde verdi varde measured valore"},
    {CLUE_UNIT, "unit* einheit* unidad* unite eenheid enhet enhed unita"},
    {CLUE_METER, "meter handheld hand reference ref referenz* referenc* field handmes* vergleichs* manual medidor"},
    {CLUE_UNTIL, "until end to bis hasta fin tot til ate fine"},
    {CLUE_OUT, "out pull* remov* retriev* raus ausgebaut aus fuera retirado sortie uit ut ud taken* lifted heraus"},
    {CLUE_IN, "in put deploy* redeploy* back eingebaut ein rein instalado dentro install* launched inn hinein dans"},
    {CLUE_TAPE, "tape* dip dipped abstich* lichtlot sonda* tapedown"},
    {CLUE_STAFF, "staff stage gage gauge pegel* *latte regla escala limnim* peilschaal rule"},
    {CLUE_CHECK, "found check* side before vergleich* antes dirty fouled compar* vorher avant vor"},
    {CLUE_CLEANED, "clean* after left gereinigt* nachher limpi* despues nach apres nettoy*"},
    {CLUE_STANDARD, "standard* std calib* kalib* cal patron etalon* padrao"},
    {CLUE_LOGGER, "logger* sonde probe sensor* device instrument* gerat* *logger sonda"},
    {CLUE_CLOCK, "clock* uhr reloj horloge klok orologio"},
};

static const char *const missing_words[] = {"na", "n/a",  "nan",  "null",    "none",    "-", "--",  "---",  "----",
                                            "nd", "n.d.", "n.a.", "missing", "no data", "*", "s/d", "k.a.", "?"};

static size_t fold(struct cell text, char *ret);
static size_t fold_accent(unsigned char second, char *ret);
static uint64_t clues_of_word(struct cell word);

uint64_t draft_clues(struct cell text)
{
    char folded[LONGEST_HINT * 2];
    size_t length = fold(text, folded);
    uint64_t clues = 0;
    for (size_t at = 0; at < length;) {
        size_t end = at;
        while (end < length && (strchr("%/", folded[end]) || (folded[end] >= 'a' && folded[end] <= 'z') ||
                                (folded[end] >= '0' && folded[end] <= '9')))
            end++;
        clues |= clues_of_word((struct cell){.text = folded + at, .length = (uint32_t)(end - at)});
        at = end + 1;
    }
    return clues;
}

enum quantity draft_quantity(uint64_t clues)
{
    if (clues & CLUE_PRESSURE)
        return clues & CLUE_AIR ? QUANTITY_AIR_PRESSURE : QUANTITY_WATER_PRESSURE;
    if (clues & CLUE_OXYGEN)
        return clues & CLUE_SATURATION ? QUANTITY_OXYGEN_SATURATION : QUANTITY_OXYGEN;
    if (clues & CLUE_CONDUCTIVITY)
        return clues & CLUE_SPECIFIC ? QUANTITY_SPECIFIC_CONDUCTANCE : QUANTITY_CONDUCTIVITY;
    if (clues & CLUE_SALINITY)
        return QUANTITY_SALINITY;
    if (clues & CLUE_TEMPERATURE)
        return clues & CLUE_AIR ? QUANTITY_AIR_TEMPERATURE : QUANTITY_TEMPERATURE;
    return clues & CLUE_BATTERY ? QUANTITY_BATTERY : QUANTITY_COUNT;
}

enum note_kind draft_note_kind(uint64_t clues)
{
    static const struct {
        uint64_t clue;
        enum note_kind kind;
    } kinds[] = {{CLUE_STANDARD, NOTE_STANDARD}, {CLUE_CLEANED, NOTE_CHECK_CLEANED}, {CLUE_CHECK, NOTE_CHECK},
                 {CLUE_TAPE, NOTE_TAPE_DOWN},    {CLUE_STAFF, NOTE_LEVEL},           {CLUE_CLOCK, NOTE_CLOCK},
                 {CLUE_OUT, NOTE_OUT_OF_WATER},  {CLUE_IN, NOTE_IN_WATER},           {CLUE_DEPTH, NOTE_LEVEL},
                 {CLUE_METER, NOTE_CHECK},       {CLUE_REMARK, NOTE_REMARK},         {CLUE_BATTERY, NOTE_BATTERY},
                 {CLUE_LOGGER, NOTE_INSTRUMENT}};
    for (size_t i = 0; i < COUNT_OF(kinds); i++)
        if (clues & kinds[i].clue)
            return kinds[i].kind;
    return NOTE_KIND_COUNT;
}

bool draft_is_missing_word(struct cell cell)
{
    for (size_t i = 0; i < COUNT_OF(missing_words); i++)
        if (cell_is(cell, missing_words[i]))
            return true;
    return false;
}

/* Lower case, accents of Latin-1 letters off, all else as it is; at most LONGEST_HINT bytes of it. */
static size_t fold(struct cell text, char *ret)
{
    size_t written = 0;
    for (size_t i = 0; i < text.length && i < LONGEST_HINT; i++) {
        unsigned char c = (unsigned char)text.text[i];
        if (c == 0xC3 && i + 1 < text.length)
            written += fold_accent((unsigned char)text.text[++i], ret + written);
        else if (c == 0xE2 && i + 2 < text.length && memcmp(text.text + i, "\xE2\x82\x82", 3) == 0) {
            ret[written++] = '2'; /* the low 2 of O2 */
            i += 2;
        } else
            ret[written++] = c >= 'A' && c <= 'Z' ? (char)(c + ('a' - 'A')) : (char)c;
    }
    return written;
}

/* The second byte of U+00C0 to U+00FF. */
static size_t fold_accent(unsigned char second, char *ret)
{
    static const char plain[] = "aaaaaaaceeeeiiiidnooooo ouuuuyts";
    unsigned index = (second & 0x3Fu) % 32u;
    ret[0] = plain[index];
    if (second == 0x9F) { /* sharp s */
        ret[1] = 's';
        return 2;
    }
    return 1;
}

static uint64_t clues_of_word(struct cell word)
{
    uint64_t clues = 0;
    if (word.length == 0)
        return 0;
    for (size_t i = 0; i < COUNT_OF(vocabulary); i++) {
        for (const char *at = vocabulary[i].words; *at;) {
            char pattern[40];
            size_t length = strcspn(at, " ");
            memcpy(pattern, at, length);
            pattern[length] = '\0';
            if (cell_matches(word, pattern))
                clues |= vocabulary[i].clue;
            at += length + (at[length] == ' ');
        }
    }
    return clues;
}
