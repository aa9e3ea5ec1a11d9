package workpiece

import (
	"encoding/json"
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
	if s, ok := r.(interface{ Size() int64 }); ok { // read at once
		data := make([]byte, s.Size())
		_, err := io.ReadFull(r, data)
		return data, err == nil
	}
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

// Once returns what an earlier run kept under key, or makes it and keeps it.
// The key must name all that it is made from: digests, units, names, values.
// It is kept as JSON, which gives every finite number back bit for bit. What
// JSON has no word for (NaN, infinities) is not kept, and what cannot be read
// is made anew.
func Once[T any](job *step.Job, key string, make func() (T, error)) (T, error) {
	var was T
	if data, ok := Kept(job, key); ok && json.Unmarshal(data, &was) == nil {
		return was, nil
	}
	made, err := make()
	if err != nil {
		return made, err
	}
	data, err := json.Marshal(made)
	if err != nil {
		return made, nil
	}
	return made, Keep(job, key, data)
}
