package workpiece

import (
	"io"

	"layette/engine/step"
)

// Kept returns what an earlier run of the step left under key, if it can be
// had. Whether it is whole is for the caller to judge.
func Kept(job *step.Job, key string) ([]byte, bool) {
	if job.Prior == nil {
		return nil, false
	}
	r, ok := job.Prior(key)
	if !ok {
		return nil, false
	}
	defer r.Close()
	data, err := io.ReadAll(r)
	return data, err == nil
}

// Keep leaves data under key for later runs, where the job keeps anything.
func Keep(job *step.Job, key string, data []byte) error {
	if job.Keep == nil {
		return nil
	}
	return job.Keep(key, data)
}
