/* SPDX-License-Identifier: MIT */
/* The container of a workbook (ISO/IEC 29500-2, OPC): a ZIP archive of XML parts that name each other by relationships.
 *
 * What is inside is not trusted. Parts are inflated in memory, piece by piece, and what comes out is counted, because
 * the sizes that an archive declares can lie. Nothing is ever written to disk, and names inside are never paths. XML
 * with a DOCTYPE is refused, so there are no entities. */
#ifndef RILLWARD_INTAKE_XLSX_PACKAGE_H
#define RILLWARD_INTAKE_XLSX_PACKAGE_H

#include "base/error.h"
#include "base/memory.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum {
    PACKAGE_MOST_ENTRIES = 1000,  /* a workbook of 200 sheets with drawings has some 800 */
    PACKAGE_LONGEST_NAME = 512,   /* bytes of a part's name */
    PACKAGE_MOST_RELATIONS = 1000 /* of one part */
};
/* Inflated bytes of all parts together, counted again when a part is read again: some 15 s of work at worst. */
#define PACKAGE_MOST_INFLATED ((uint64_t)2 << 30)
/* A part that inflates to more than this and to more than the ratio is a bomb. Real sheets reach 1:30, and small parts
 * of equal rows 1:500. */
#define PACKAGE_LARGE_PART ((uint64_t)64 << 20)
enum { PACKAGE_MOST_RATIO = 200, PACKAGE_DEEPEST = 64 /* elements within elements; a sheet needs some 10 */ };

struct package;

/* `bytes` must outlive the package. NULL with an INPUT error that says what it is and the cure. */
struct package *package_open(const char *bytes, size_t length, struct error *error);
void package_close(struct package *package); /* NULL is fine */

struct relation {
    const char *id;
    const char *type;   /* last part of the type's address: "worksheet" */
    const char *target; /* name of a part, resolved */
};
struct relations {
    struct relation *list;
    size_t count;
};
/* Relationships of a part ("" for those of the package itself) to other parts; none where it has no such list. */
bool package_relations(struct package *package, const char *part, struct arena *arena, struct relations *ret,
                       struct error *error);

/* A part as a stream of elements. Elements of foreign namespaces are passed over with all that is in them. */
struct part;
struct part_handler {
    void (*start)(struct part *part, const char *name, const char **attributes);
    void (*end)(struct part *part, const char *name);
    void (*text)(struct part *part, const char *text, size_t length); /* in pieces */
};
struct part *part_open(struct package *package, const char *name, uint64_t limit, const struct part_handler *handler,
                       void *context, struct error *error);
void part_close(struct part *part); /* NULL is fine */
void *part_context(const struct part *part);
/* For handlers: stop behind this element; the next part_read() goes on. */
void part_pause(struct part *part);
/* For handlers: give up with an INPUT error. */
void part_fail(struct part *part, const char *format, ...) __attribute__((format(printf, 2, 3)));

enum part_step { PART_PAUSED, PART_END, PART_FAILED };
enum part_step part_read(struct part *part, struct error *error);
/* Open, read to the end, close. */
bool part_read_all(struct package *package, const char *name, uint64_t limit, const struct part_handler *handler,
                   void *context, struct error *error);

/* Value of an attribute without namespace; NULL without one. */
const char *part_attribute(const char **attributes, const char *name);
/* Value of r:id, in either of its namespaces. */
const char *part_relation_id(const char **attributes);

#endif
