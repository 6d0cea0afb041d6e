/*
 * A disk that fails on order: loaded before libc (LD_PRELOAD), it counts the calls that touch files whose path begins with
 * $STARPLUMB_FAULT_FILE and lets the n-th of them go wrong. $STARPLUMB_FAULT is "EPOCH MODE N"; a new EPOCH counts anew.
 * MODE: error (EIO, once), full (ENOSPC for this and every later write), kill (SIGKILL before the call), torn (half of a
 * write, then SIGKILL). When a fault strikes, the file $STARPLUMB_FAULT_LOG is made.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/types.h>
#include <unistd.h>

enum { MOST = 4096 };
static char watched[MOST];
static char epoch[32];
static long calls;

static int ours(const char *path) {
  const char *start = getenv("STARPLUMB_FAULT_FILE");
  return start && path && strncmp(path, start, strlen(start)) == 0;
}

static void struck(void) {
  const char *log = getenv("STARPLUMB_FAULT_LOG");
  if (log) syscall(SYS_close, syscall(SYS_openat, AT_FDCWD, log, O_CREAT | O_WRONLY, 0600));
}

enum fault { NONE, FAIL, TORN };

static enum fault next(int writes) {
  const char *order = getenv("STARPLUMB_FAULT");
  char e[32], mode[16];
  long n;
  if (!order || sscanf(order, "%31s %15s %ld", e, mode, &n) != 3) return NONE;
  if (strcmp(e, epoch) != 0) {
    strcpy(epoch, e);
    calls = 0;
  }
  calls++;
  int full = strcmp(mode, "full") == 0;
  if (full ? !(writes && calls >= n) : calls != n) return NONE;
  struck();
  if (strcmp(mode, "kill") == 0) kill(getpid(), SIGKILL);
  if (strcmp(mode, "torn") == 0) {
    if (writes) return TORN;
    kill(getpid(), SIGKILL);
  }
  errno = full ? ENOSPC : EIO;
  return FAIL;
}

#define REAL(name) ((__typeof__(&name))dlsym(RTLD_NEXT, #name))
#define WATCHED(fd) ((fd) >= 0 && (fd) < MOST && watched[fd])

#define OPEN(name)                                          \
  int name(const char *path, int flags, ...) {              \
    va_list more;                                           \
    va_start(more, flags);                                  \
    mode_t mode = flags & O_CREAT ? va_arg(more, int) : 0;  \
    va_end(more);                                           \
    if (!ours(path)) return REAL(name)(path, flags, mode);  \
    if (next(0)) return -1;                                 \
    int fd = REAL(name)(path, flags, mode);                 \
    if (fd >= 0 && fd < MOST) watched[fd] = 1;              \
    return fd;                                              \
  }
OPEN(open)
OPEN(open64)

int close(int fd) {
  if (fd >= 0 && fd < MOST) watched[fd] = 0;
  return REAL(close)(fd);
}

#define READ(name, offset)                                          \
  ssize_t name(int fd, void *to, size_t size, offset at) {          \
    if (WATCHED(fd) && next(0)) return -1;                          \
    return REAL(name)(fd, to, size, at);                            \
  }
READ(pread, off_t)
READ(pread64, off64_t)

#define WRITE(name, offset)                                         \
  ssize_t name(int fd, const void *from, size_t size, offset at) {  \
    enum fault f = WATCHED(fd) ? next(1) : NONE;                    \
    if (f == FAIL) return -1;                                       \
    if (f == TORN) {                                                \
      REAL(name)(fd, from, size / 2, at);                           \
      kill(getpid(), SIGKILL);                                      \
    }                                                               \
    return REAL(name)(fd, from, size, at);                          \
  }
WRITE(pwrite, off_t)
WRITE(pwrite64, off64_t)

int fsync(int fd) { return WATCHED(fd) && next(0) ? -1 : REAL(fsync)(fd); }
int fdatasync(int fd) { return WATCHED(fd) && next(0) ? -1 : REAL(fdatasync)(fd); }
int ftruncate(int fd, off_t size) { return WATCHED(fd) && next(1) ? -1 : REAL(ftruncate)(fd, size); }
int ftruncate64(int fd, off64_t size) { return WATCHED(fd) && next(1) ? -1 : REAL(ftruncate64)(fd, size); }
int unlink(const char *path) { return ours(path) && next(0) ? -1 : REAL(unlink)(path); }
int access(const char *path, int mode) { return ours(path) && next(0) ? -1 : REAL(access)(path, mode); }

int fstat64(int fd, struct stat64 *to) { return WATCHED(fd) && next(0) ? -1 : REAL(fstat64)(fd, to); }
int stat64(const char *path, struct stat64 *to) { return ours(path) && next(0) ? -1 : REAL(stat64)(path, to); }
int lstat64(const char *path, struct stat64 *to) { return ours(path) && next(0) ? -1 : REAL(lstat64)(path, to); }

void *mmap64(void *where, size_t size, int protection, int flags, int fd, off64_t at) {
  return WATCHED(fd) && next(0) ? MAP_FAILED : REAL(mmap64)(where, size, protection, flags, fd, at);
}

int fcntl64(int fd, int command, ...) {
  va_list more;
  va_start(more, command);
  void *argument = va_arg(more, void *);
  va_end(more);
  return WATCHED(fd) && next(0) ? -1 : REAL(fcntl64)(fd, command, argument);
}
