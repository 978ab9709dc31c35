package ingest

import (
	"context"
	"sync"
)

// A pipeline does numbered jobs on several workers and hands their results over in
// the order of the jobs.
type pipeline[R any] struct {
	// take makes the next job ready for a worker; false when there is none. One
	// call at a time, in the order of the jobs.
	take func(worker int) (bool, error)
	// work does the job that its worker has taken. reuse is a result that was
	// handed over before, or a zero R.
	work func(worker int, reuse R) (R, error)
	// done takes a result. One call at a time, in the order of the jobs.
	done func(R) error
}

// lookAhead is how many results a worker may have waiting for an earlier one.
const lookAhead = 4

// run does all jobs, and returns the first error or that of ctx.
func (p *pipeline[R]) run(ctx context.Context, workers int) error {
	r := &pipelineRun[R]{pipeline: p, ctx: ctx, ready: make(map[int]R), window: workers * lookAhead}
	r.moved.L = &r.mu
	stop := context.AfterFunc(ctx, func() { r.fail(context.Cause(ctx)) })
	defer stop()
	var group sync.WaitGroup
	for w := range workers {
		group.Go(func() {
			for r.step(w) {
			}
		})
	}
	group.Wait()
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.err
}

// A pipelineRun is the state of one run of a pipeline.
type pipelineRun[R any] struct {
	*pipeline[R]
	ctx    context.Context
	window int
	taking sync.Mutex // held around take

	mu         sync.Mutex // guards what follows
	moved      sync.Cond  // delivered, or err set
	taken      int
	delivered  int
	delivering bool
	ready      map[int]R
	free       []R
	err        error
}

func (r *pipelineRun[R]) fail(err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.err == nil {
		r.err = err
	}
	r.moved.Broadcast()
}

// step takes a job and does it; false when there is none or the run has failed.
func (r *pipelineRun[R]) step(worker int) bool {
	job, reuse, ok := r.next(worker)
	if !ok {
		return false
	}
	result, err := r.work(worker, reuse)
	if err == nil {
		err = r.deliver(job, result)
	}
	if err != nil {
		r.fail(err)
		return false
	}
	return true
}

func (r *pipelineRun[R]) next(worker int) (job int, reuse R, ok bool) {
	r.taking.Lock()
	defer r.taking.Unlock()
	r.mu.Lock()
	for r.err == nil && r.taken-r.delivered >= r.window {
		r.moved.Wait()
	}
	failed := r.err != nil
	r.mu.Unlock()
	if failed {
		return 0, reuse, false
	}
	more, err := false, context.Cause(r.ctx)
	if err == nil {
		more, err = r.take(worker)
	}
	if err != nil {
		r.fail(err)
	}
	if err != nil || !more {
		return 0, reuse, false
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	job = r.taken
	r.taken++
	if n := len(r.free); n > 0 {
		reuse = r.free[n-1]
		r.free = r.free[:n-1]
	}
	return job, reuse, true
}

// deliver puts down a result, and hands over all that are next, unless another
// worker is at it already.
func (r *pipelineRun[R]) deliver(job int, result R) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.ready[job] = result
	if r.delivering {
		return nil
	}
	r.delivering = true
	defer func() { r.delivering = false }()
	for r.err == nil {
		next, ok := r.ready[r.delivered]
		if !ok {
			return nil
		}
		delete(r.ready, r.delivered)
		r.mu.Unlock()
		err := r.done(next)
		r.mu.Lock()
		if err != nil {
			return err
		}
		r.delivered++
		r.free = append(r.free, next)
		r.moved.Broadcast()
	}
	return nil
}
