package app_test

import (
	"bytes"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"syscall"
	"time"

	"dryslot/internal/pour"
)

// running is a command that was started.
type running struct {
	*exec.Cmd
	up   chan struct{} // closed when it says that it is at work
	done chan struct{} // closed when it has ended, how stands in err
	err  error
}

// voice passes on what a command says, and tells of the first line that begins
// with mark, or holds it, once: what follows it.
type voice struct {
	to   io.Writer
	mark string
	tell func(rest string)
	said []byte // while there was no such line
}

func (v *voice) Write(p []byte) (int, error) {
	if v.tell != nil {
		v.said = append(v.said, p...)
		if _, rest, ok := bytes.Cut(v.said, []byte(v.mark)); ok {
			if line, _, whole := bytes.Cut(rest, []byte("\n")); whole {
				v.tell(string(line))
				v.tell = nil
			}
		}
	}
	return v.to.Write(p)
}

// start starts a command with the clock as it is. The API takes a port of its
// own at each start: while it is away another process may take the last one.
func (s *site) start(name string) {
	s.t.Helper()
	cmd := exec.Command(filepath.Join(s.dir, name))
	env := slices.Clone(s.env)
	if name == "worker" && s.cluster != nil {
		env = append(env, "DATABASE_URL="+s.cluster.Pooled())
	}
	cmd.Env = append(env, "DRYSLOT_CLOCK="+s.now().Format(time.RFC3339Nano))
	r := &running{Cmd: cmd, up: make(chan struct{}), done: make(chan struct{})}
	v := &voice{to: s.log, mark: "worker started", tell: func(string) { close(r.up) }}
	if name == "api" {
		v.mark = "listening on "
		v.tell = func(address string) {
			s.moved(address)
			close(r.up)
		}
	}
	cmd.Dir, cmd.Stdout, cmd.Stderr = s.dir, v, v
	if err := cmd.Start(); err != nil {
		s.t.Fatal(err)
	}
	go func() {
		r.err = cmd.Wait()
		close(r.done)
	}()
	s.procs[name] = r
}

// moved notes where the API is, or, empty, that it is away.
func (s *site) moved(base string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.base = base
}

// await waits until a command is at work.
func (s *site) await(name string) {
	s.t.Helper()
	r := s.procs[name]
	select {
	case <-r.up:
	case <-r.done:
		if s.excused() {
			s.pass(s.ctx, 300*time.Millisecond)
			s.start(name)
			s.await(name)
			return
		}
		s.t.Fatalf("%s ended by itself: %v", name, r.err)
	case <-s.ctx.Done():
		s.t.Fatalf("%s does not come up", name)
	}
}

// kill ends a command by a signal, and waits for its end.
func (s *site) kill(name string, sig syscall.Signal) error {
	cmd := s.procs[name]
	if cmd == nil {
		return nil
	}
	delete(s.procs, name)
	select {
	case <-cmd.done:
		if s.excused() {
			return nil
		}
		s.t.Errorf("%s ended by itself: %v", name, cmd.err)
		return cmd.err
	default:
	}
	if sig == syscall.SIGKILL {
		s.noteKill()
	}
	if err := cmd.Process.Signal(sig); err != nil && !errors.Is(err, os.ErrProcessDone) {
		return err
	}
	<-cmd.done
	if name == "api" {
		s.moved("")
	}
	return cmd.err
}

func (s *site) killAll(sig syscall.Signal) {
	for _, name := range []string{"api", "worker"} {
		_ = s.kill(name, sig) // how it ended is looked at by those who stop it in good order
	}
}

// leapInOrder stops the commands as an operator does, and starts them again
// past every wait between tries.
func (s *site) leapInOrder() {
	s.t.Helper()
	for _, name := range []string{"api", "worker"} {
		s.await(name) // one that is starting up may not listen to signals yet
		if err := s.kill(name, syscall.SIGTERM); err != nil {
			s.t.Errorf("%s did not stop in good order: %v", name, err)
		}
	}
	s.ahead(20 * time.Minute)
	s.start("api")
	s.start("worker")
}

// newProject creates a project in a cell of its own, with one recipient of
// each kind.
func (s *site) newProject(k *told, i int) {
	s.t.Helper()
	type pad struct {
		Name       string  `json:"name"`
		LengthM    float64 `json:"length_m"`
		WidthM     float64 `json:"width_m"`
		ThicknessM float64 `json:"thickness_m"`
	}
	type cover struct {
		Kind string `json:"kind"`
		Pads int    `json:"pads"`
	}
	type stock struct {
		Covers []cover `json:"covers"`
	}
	order := struct {
		Name      string  `json:"name"`
		Latitude  float64 `json:"latitude"`
		Longitude float64 `json:"longitude"`
		TimeZone  string  `json:"time_zone"`
		Pads      []pad   `json:"pads"`
		Stock     stock   `json:"stock"`
	}{"Sheepfold gate pads " + strconv.Itoa(i), southmost + float64(i)/10, -7.9, "Europe/Lisbon", nil,
		stock{[]cover{{"plastic", padsOfAProject()}, {"blanket", padsOfAProject()}}}}
	for j := range padsOfAProject() {
		order.Pads = append(order.Pads, pad{"G" + strconv.Itoa(j), 1.5, 1.5, 0.1})
	}
	var made struct {
		ID string `json:"id"`
	}
	key := "project-" + strconv.Itoa(i)
	if err := s.must(s.ctx, "POST", "/v1/projects", key, order, &made); err != nil {
		s.t.Fatal(err)
	}
	hook := "/" + key
	for kind, address := range map[string]string{"email": key + "@example.org", "webhook": s.hook.URL + hook} {
		var r struct{ ID, Secret string }
		body := struct {
			Kind    string `json:"kind"`
			Address string `json:"address"`
		}{kind, address}
		if err := s.must(s.ctx, "POST", "/v1/projects/"+made.ID+"/recipients", key+kind, body, &r); err != nil {
			s.t.Fatal(err)
		}
		if kind == "email" {
			s.agree(address)
		}
		if kind == "webhook" {
			s.mu.Lock()
			s.secrets[hook] = r.Secret
			s.mu.Unlock()
		}
		k.mu.Lock()
		k.recipients[made.ID] = append(k.recipients[made.ID], r.ID)
		k.mu.Unlock()
	}
	k.mu.Lock()
	k.since[made.ID] = s.now()
	k.work[made.ID] = &work{climate: climate(i) % climates}
	k.mu.Unlock()
	// Its first pad has been placed just now, so that every kind of alert has a cause.
	first := tap{Kind: pour.EntryPlaced, Pads: []string{"G0"}, At: s.now().Add(-5 * time.Minute), Text: key + " begins"}
	if err := s.must(s.ctx, "POST", "/v1/projects/"+made.ID+"/log", first.Text, first, nil); err != nil {
		s.t.Fatal(err)
	}
	s.tapped(k, made.ID, first)
	k.mu.Lock()
	defer k.mu.Unlock()
	k.projects = append(k.projects, made.ID)
}
