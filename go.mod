module layette

go 1.26

require github.com/hashicorp/go-multierror v1.1.1

require github.com/hashicorp/errwrap v1.0.0 // indirect
