// Package graph orders names by what they need.
package graph
