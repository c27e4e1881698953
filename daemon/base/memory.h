/* SPDX-License-Identifier: MIT */
/* Memory with three lifetimes: the process (x-allocators), one piece of work (an arena), one call (caller's arrays).
 *
 * The x-allocators never return NULL: out of memory ends the process, which is honest only because every input has a
 * size limit. Committed facts are in the database, and the service manager starts us again. */
#ifndef RILLWARD_BASE_MEMORY_H
#define RILLWARD_BASE_MEMORY_H

#include <stdbool.h>
#include <stddef.h>

/* Once, before threads start: what was freed stays at hand for the next allocation instead of going back to the kernel
 * each time, which would clear every page anew; malloc_trim() at rest gives it back. */
void memory_keep_at_hand(void);

void *x_alloc(size_t size);                              /* zeroed; free() it */
void *x_array(size_t count, size_t size);                /* zeroed; multiplication checked */
void *x_resize(void *memory, size_t count, size_t size); /* new part is not zeroed */
char *x_strdup(const char *text);
char *x_strndup(const char *text, size_t length);
char *x_printf(const char *format, ...) __attribute__((format(printf, 1, 2)));

/* Grow `*items` (element size `size`) so that one more fits behind `count`; doubles. */
void *x_grow(void *items, size_t count, size_t *capacity, size_t size);

/* Many small pieces that are freed together. Not thread safe: one arena belongs to one piece of work. */
struct arena;
struct arena *arena_new(void);
void arena_free(struct arena *arena);                /* NULL is fine */
void arena_reset(struct arena *arena);               /* forget all pieces, keep one block for the next piece of work */
void *arena_alloc(struct arena *arena, size_t size); /* zeroed, aligned for any type */
void *arena_array(struct arena *arena, size_t count, size_t size);
void *arena_room(struct arena *arena, size_t count,
                 size_t size); /* the same, not cleared: for what is filled at once */
char *arena_strdup(struct arena *arena, const char *text);
char *arena_strndup(struct arena *arena, const char *text, size_t length);
char *arena_printf(struct arena *arena, const char *format, ...) __attribute__((format(printf, 2, 3)));
size_t arena_size(const struct arena *arena); /* bytes held, for reports and limits */

/* `CLEANUP(file_close_fd) int fd = -1;` runs the function with the variable's address when the scope is left. */
#define CLEANUP(function) __attribute__((cleanup(function)))
void cleanup_free(void *pointer_to_pointer);
void cleanup_arena(struct arena **arena);

#define COUNT_OF(array) (sizeof(array) / sizeof((array)[0]))

#endif
