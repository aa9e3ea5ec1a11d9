// Package engine plans and runs a model's stages as one dependency graph.
package engine
