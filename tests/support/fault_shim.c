/* Makes one system call on files below a folder fail, counted from when it is armed: loaded before the C library,
   so that it stands under Python, libsndfile and all else alike. Linux, glibc. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <sys/uio.h>
#include <unistd.h>

#define MOST_FILES 4096

static char below[4096];
static atomic_long seen = -1; /* not armed */
static long fails_at;
static int kind;
static char last[64];                  /* the call that failed */
static atomic_char ours[MOST_FILES];   /* open files below the folder */

void fault_arm(const char *folder, long at, int error) {
    strncpy(below, folder, sizeof below - 1);
    fails_at = at;
    kind = error;
    last[0] = 0;
    atomic_store(&seen, 0);
}

long fault_disarm(void) { return atomic_exchange(&seen, -1); }
const char *fault_last(void) { return last; }

static int is_below(const char *path) { return path && !strncmp(path, below, strlen(below)); }
static int is_ours(int fd) { return fd >= 0 && fd < MOST_FILES && atomic_load(&ours[fd]); }

/* Whether this is the call that fails. `kind` 0 stands for a write that is cut short. */
static int fails(int counts, const char *call) {
    if (!counts || atomic_load(&seen) < 0) return 0;
    if (atomic_fetch_add(&seen, 1) != fails_at) return 0;
    strncpy(last, call, sizeof last - 1);
    if (kind) errno = kind;
    return 1;
}

#define REAL(name) static __typeof__(name) *real; if (!real) real = (__typeof__(name) *)dlsym(RTLD_NEXT, #name)
#define REFUSE(counts, call) if (fails(counts, call) && kind) return -1

static int noted(int fd, int counts) {
    if (fd >= 0 && fd < MOST_FILES) atomic_store(&ours[fd], counts);
    return fd;
}

#define OPENING(name)                                                                  \
    int name(const char *path, int flags, ...) {                                       \
        REAL(name);                                                                    \
        va_list more; va_start(more, flags); mode_t mode = va_arg(more, mode_t); va_end(more); \
        int counts = is_below(path);                                                   \
        REFUSE(counts, "open");                                                        \
        return noted(real(path, flags, mode), counts);                                 \
    }
OPENING(open)
OPENING(open64)

#define OPENING_AT(name)                                                               \
    int name(int folder, const char *path, int flags, ...) {                           \
        REAL(name);                                                                    \
        va_list more; va_start(more, flags); mode_t mode = va_arg(more, mode_t); va_end(more); \
        int counts = is_below(path) || (path[0] != '/' && is_ours(folder));            \
        REFUSE(counts, "openat");                                                      \
        return noted(real(folder, path, flags, mode), counts);                         \
    }
OPENING_AT(openat)
OPENING_AT(openat64)

int close(int fd) {
    REAL(close);
    int counts = is_ours(fd);
    noted(fd, 0);
    int failed = fails(counts, "close") && kind;
    int error = errno, done = real(fd); /* closed all the same, as Linux does */
    if (failed) errno = error;
    return failed ? -1 : done;
}

ssize_t write(int fd, const void *data, size_t size) {
    REAL(write);
    if (fails(is_ours(fd), "write")) { if (kind) return -1; size = (size + 1) / 2; }
    return real(fd, data, size);
}

ssize_t read(int fd, void *data, size_t size) { REAL(read); REFUSE(is_ours(fd), "read"); return real(fd, data, size); }
int fsync(int fd) { REAL(fsync); REFUSE(is_ours(fd), "fsync"); return real(fd); }
int fdatasync(int fd) { REAL(fdatasync); REFUSE(is_ours(fd), "fdatasync"); return real(fd); }
int ftruncate64(int fd, off64_t size) { REAL(ftruncate64); REFUSE(is_ours(fd), "ftruncate"); return real(fd, size); }
off64_t lseek64(int fd, off64_t at, int from) { REAL(lseek64); REFUSE(is_ours(fd), "lseek"); return real(fd, at, from); }
int flock(int fd, int how) { REAL(flock); REFUSE(is_ours(fd), "flock"); return real(fd, how); }
int fchmod(int fd, mode_t mode) { REAL(fchmod); REFUSE(is_ours(fd), "fchmod"); return real(fd, mode); }
int chmod(const char *path, mode_t mode) { REAL(chmod); REFUSE(is_below(path), "chmod"); return real(path, mode); }
int mkdir(const char *path, mode_t mode) { REAL(mkdir); REFUSE(is_below(path), "mkdir"); return real(path, mode); }
int rmdir(const char *path) { REAL(rmdir); REFUSE(is_below(path), "rmdir"); return real(path); }
int unlink(const char *path) { REAL(unlink); REFUSE(is_below(path), "unlink"); return real(path); }
int unlinkat(int folder, const char *path, int flags) {
    REAL(unlinkat);
    REFUSE(is_below(path) || is_ours(folder), "unlinkat");
    return real(folder, path, flags);
}
int rename(const char *from, const char *to) { REAL(rename); REFUSE(is_below(from), "rename"); return real(from, to); }
int statvfs64(const char *path, struct statvfs64 *found) { REAL(statvfs64); REFUSE(is_below(path), "statvfs"); return real(path, found); }
