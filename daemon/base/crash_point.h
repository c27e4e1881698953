/* SPDX-License-Identifier: MIT */
/* Places where a test ends the process as a power cut would: between every two steps that are to be durable.
 *
 * Nothing in a build that is meant to run. Built with -DCRASH_POINTS=ON each call is counted, and the process kills
 * itself at the one whose number RILLWARD_CRASH_AT holds (from 1), or at every one whose "name:subject" is
 * RILLWARD_CRASH_ON. RILLWARD_CRASH_LOG names a file that each name is appended to. Names are static text, subjects
 * paths. */
#ifndef RILLWARD_BASE_CRASH_POINT_H
#define RILLWARD_BASE_CRASH_POINT_H

#ifdef CRASH_POINTS
void crash_point(const char *name, const char *subject);
#else
static inline void crash_point(const char *name, const char *subject)
{
    (void)name;
    (void)subject;
}
#endif

#endif
