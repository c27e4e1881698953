/* SPDX-License-Identifier: MIT */
#include "base/sync.h"

#include <assert.h>
#include <errno.h>
#include <pthread.h>
#include <signal.h>
#include <stdbool.h>
#include <unistd.h>

enum { STACK_SIZE = 64 * 1024 };

struct piece {
    int fd, failure;
    bool has_thread;
    pthread_t thread;
};

static void start(struct piece *piece);
static void *sync_piece(void *argument);

int sync_descriptors(const int *fds, size_t n)
{
    struct piece pieces[SYNC_MOST];
    int failure = 0;
    assert(n <= SYNC_MOST);
    for (size_t i = 0; i < n; i++) {
        pieces[i] = (struct piece){.fd = fds[i]};
        if (i > 0)
            start(&pieces[i]);
    }
    for (size_t i = 0; i < n; i++) {
        if (pieces[i].has_thread)
            pthread_join(pieces[i].thread, NULL);
        else
            sync_piece(&pieces[i]);
        failure = failure ? failure : pieces[i].failure;
    }
    return failure;
}

static void start(struct piece *piece)
{
    sigset_t all;
    pthread_attr_t attributes;
    sigfillset(&all); /* signals stay with the owner */
    pthread_attr_init(&attributes);
    pthread_attr_setstacksize(&attributes, STACK_SIZE);
    pthread_attr_setsigmask_np(&attributes, &all);
    piece->has_thread = pthread_create(&piece->thread, &attributes, sync_piece, piece) == 0;
    pthread_attr_destroy(&attributes);
}

/* A failed one is not tried again: the pages may be gone though a second call succeeds. */
static void *sync_piece(void *argument)
{
    struct piece *piece = argument;
    piece->failure = fsync(piece->fd) < 0 ? errno : 0;
    return NULL;
}
