// Package draw makes pictures of surfaces.
package draw
