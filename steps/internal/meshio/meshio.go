// Package meshio reads and writes surfaces.
package meshio
