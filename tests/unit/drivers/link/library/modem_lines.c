/* Test only: gives pseudo-terminals the modem-line ioctls that libserialport asks for and Linux does not have there.
   Everything else goes to the real ioctl. With MODEM_LINES_SEEN set, the file it names is made when they are asked for:
   only libserialport asks. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

static atomic_int line_state[1024];

static int is_pseudo_terminal(int fd) {
  struct stat st;
  return fd >= 0 && fd < 1024 && fstat(fd, &st) == 0 && S_ISCHR(st.st_mode) && major(st.st_rdev) >= 136 && major(st.st_rdev) <= 143;
}

static void leave_a_sign(void) {
  const char *path = getenv("MODEM_LINES_SEEN");
  if (!path) return;
  int sign = open(path, O_WRONLY | O_CREAT | O_CLOEXEC, 0600);
  if (sign >= 0) close(sign);
}

int ioctl(int fd, unsigned long req, ...) {
  static int (*next)(int, unsigned long, ...);
  va_list ap;
  va_start(ap, req);
  void *arg = va_arg(ap, void *);
  va_end(ap);
  if (!next) *(void **)&next = dlsym(RTLD_NEXT, "ioctl");
  int rc = next(fd, req, arg);
  if (rc == 0 || (errno != ENOTTY && errno != EINVAL)) return rc;
  if (req != TIOCMGET && req != TIOCMSET && req != TIOCMBIS && req != TIOCMBIC) return rc;
  int saved = errno;
  if (!is_pseudo_terminal(fd)) {
    errno = saved;
    return rc;
  }
  leave_a_sign();
  int *value = arg;
  switch (req) {
    case TIOCMGET: *value = line_state[fd] | TIOCM_CTS | TIOCM_DSR | TIOCM_CAR; break;
    case TIOCMSET: line_state[fd] = *value; break;
    case TIOCMBIS: line_state[fd] |= *value; break;
    case TIOCMBIC: line_state[fd] &= ~*value; break;
  }
  return 0;
}
